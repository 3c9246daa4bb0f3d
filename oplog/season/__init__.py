"""What a season's records let one reckon: when a job is done, which width keeps pace, where the
wheelings lie, what a record lacks. Pure: values in, values out.

    forecast   the day and hour a job is done, from its own measured days
    match      machines and widths against each other
    inputs     which work an input went out with, and how much of it
    lines      tramlines from drilling, wheelings from spraying
    sequence   what comes next in each field
"""
