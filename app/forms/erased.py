"""What stands on papers, and in answers, in place of a name that was erased."""

NAME_ERASED = "(name erased)"
