"""`python -m agent` is the `peakshade` command."""

import sys

from agent.cli import main

sys.exit(main())
