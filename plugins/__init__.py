"""The shipped plugins, written as a stranger would write them; see README.md."""
