"""Sign-off that can be retraced: the record of a case, the sealed sheet, its check, the register of a folder."""
