"""The program as a library: what ``import lasersafe`` gives, each name loaded when it is first used."""
