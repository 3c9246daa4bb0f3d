"""What people look at: the only place that rounds and writes numbers out for them.

`table` holds rows with their units; `text`, `data` write them for a terminal, CSV or JSON; the
other modules build the tables of one subject each.
"""
