"""Pure decisions and physics. See README.md in this folder for its one rule."""
