"""Pages for a person in gloves. Reads the store; writes only what a person did."""
