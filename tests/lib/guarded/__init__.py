"""An app of the tests alone: a table that is written once, and one that freezes with its parent."""
