"""The command line: one module per command. Each reads its options, asks one question, and returns an answer with an exit code.

Only typer and a few modules of `common/` are imported at the top; what a command needs it imports when it runs, so that `--help` is quick.

Loading this package sets the interpreter for one short command, before anything large is loaded.
"""

import atexit
import gc
import os
import sys
from contextlib import suppress

OBJECTS_BETWEEN_LOOKS = 200_000
# few circles are made, but many small objects: looking for circles at each thousand of them is a fifth of the time
gc.set_threshold(OBJECTS_BETWEEN_LOOKS, 50, 50)
# the last look for circles, when the program ends, frees nothing that would not go with the process: a tenth of its time
atexit.register(gc.freeze)
# small sums are done sooner than threads for them are made
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# memory for columns comes from where all other memory does: a pool of Arrow's own takes a quarter more of it
os.environ.setdefault("ARROW_DEFAULT_MEMORY_POOL", "system")
# only this program says what a file holds, and looking for plugins takes time
os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")

M_TRIM_THRESHOLD, M_MMAP_THRESHOLD, M_ARENA_MAX = -1, -3, -8
"""Numbers of the settings in the GNU C library's malloc.h."""
if sys.platform == "linux":
    # one piece of a log after another lies where the one before it was: given back and fetched again, memory is made anew each time;
    # not every Python has ctypes, nor every C library these settings
    with suppress(ImportError, AttributeError, OSError):
        import ctypes

        _mallopt = ctypes.CDLL(None).mallopt
        for _setting, _value in ((M_TRIM_THRESHOLD, 1 << 30), (M_MMAP_THRESHOLD, 1 << 25), (M_ARENA_MAX, 1)):
            _mallopt(_setting, _value)
