"""The one SQLite file. All SQL of the project lives in this folder."""
