"""What people see of a measured frame: the clip map and the report of a set."""
