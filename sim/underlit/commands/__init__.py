"""The commands, a module each; `cli.py` names them. Heavy modules are imported inside the functions that use them."""
