"""`python -m oplog` is `oplog`."""

import sys

from oplog.cli import main

sys.exit(main())
