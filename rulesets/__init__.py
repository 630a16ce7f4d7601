"""The shipped rulesets: data only, see README.md."""
