"""How near to the truth the inference is: one command, one table.

    python -m benchmarks.inference [--seeds 3] [--first-seed 100] [--only NAME ...] [--no-pictures]

Runs every scenario of `tests/simulator` over a few seeds, and every recording of the corpus
(OPLOG_CORPUS), and prints the errors beside what the naive methods give for the same fixes. The
pictures go to `benchmarks/out/`: truth left, inference right, one per scenario.

Needs matplotlib for the pictures, and movingpandas for one of the naive methods
(`pip install -e '.[benchmarks]'`); without either, that part is left out, and the table says so.

Follow it through: simulated (a scenario against its truth) and recorded (a recording against the
machine's own counters), naive (the methods beside), table (what is printed), pictures.
"""
