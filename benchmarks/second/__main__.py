"""Build every scenario once and print a line for each.

python -m benchmarks.second [--seed 1]
"""

from __future__ import annotations

import argparse
import time

from benchmarks import second


def main() -> None:
    parser = argparse.ArgumentParser(description="Build every scenario of the second simulator.")
    parser.add_argument("--seed", type=int, default=1)
    seed = parser.parse_args().seed
    for name in second.names():
        start = time.process_time()
        day = second.build(name, seed)
        took = time.process_time() - start
        stays = "; ".join(
            f"{s.field}: {s.worked_m2 / 1e4:.2f} ha, gross {s.gross_m2 / 1e4:.2f}, "
            f"{s.seconds.get('working', 0.0) / 3600:.2f} h at {s.working_speed_m_s:.2f} m/s"
            for s in day.stays
        )
        print(
            f"{name:36s} {took:4.1f} s {len(day.time):6d} fixes  {stays or 'no work'}", flush=True
        )


if __name__ == "__main__":
    main()
