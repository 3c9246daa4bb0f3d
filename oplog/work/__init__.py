"""From a machine's day of fixes to the work it did: pure functions, no files, no clock."""
