"""A field-work simulator: the project's source of truth, independent of the code under test.

It drives real geometry at 10 Hz, drags the implement behind the hitch, and knows the true worked
ground and the true seconds in each state. Follow one scenario through the modules in this order:

shapes (a field) -> machines -> lines (laps and bouts) -> plan -> turns -> drive (pieces of path)
-> motion (10 Hz) -> truth (ground, seconds) -> receiver (fixes) -> scene (globe) -> scenarios.

Use: `scenarios.SCENARIOS[name](seed)` gives a `scene.Scenario`: `.track()` what was recorded,
`.rig_for(field, start, end)` what the user says, `.visits_truth` and `.labels` what was true.
`make_sample` drives the sample farm's days the same way.

Everything is in metres in one local plane per scenario, x to the right, y upwards, angles
anticlockwise from x in radians, until the last step puts it on the globe.

What counts as what. Working: implement down (a stop of under 5 s with it down is working still).
Turning: implement up between two bouts of one stay, with neither travel nor a filling stop in
between. Filling: standing where the implement is filled or emptied. Standing: any other stop of
5 s or more. Travelling: all else in the field. A stay begins and ends at the gate.
"""
