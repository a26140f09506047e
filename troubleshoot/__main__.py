"""`python -m troubleshoot`."""

import sys

from troubleshoot.command_line import main

sys.exit(main())
