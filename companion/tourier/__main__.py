"""`python -m tourier`: the same as the command `tourier`."""

from tourier.cli import main

raise SystemExit(main())
