"""capex: decide between separate machines and an all-in-one."""
