"""The version of the program, apart from its front door so that any file may name it."""

VERSION = "0.1.0"
