"""A field-work simulator: the project's source of truth, independent of the code under test.

It drives real geometry at 10 Hz, drags the implement behind the hitch, and knows the true worked
ground and the true seconds in each state. Follow one scenario through the modules in this order:

shapes (a field) -> machines -> plan (laps and bouts) -> drive (pieces of path) -> motion (10 Hz)
-> truth (ground and seconds) -> receiver (fixes) -> scenarios (all of it, by name and seed).

Everything is in metres in one local plane per scenario, x to the right, y upwards, angles
anticlockwise from x in radians, until the last step puts it on the globe.
"""
