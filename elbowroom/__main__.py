"""`python -m elbowroom` is the command line."""

from elbowroom.viewer import main

raise SystemExit(main())
