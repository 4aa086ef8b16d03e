"""Sign-off that can be retraced: the record beside a case, the sealed sheet, its check, and the register of a folder."""
