"""What holds for all tests: no limit of time per example, the same examples in every run, and that
Ctrl-C is heeded, also where they run in the background, whose processes are told to ignore it.
"""

import signal
import threading

from hypothesis import HealthCheck, settings

settings.register_profile(
    "any_load", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("any_load")

if threading.current_thread() is threading.main_thread():
    signal.signal(signal.SIGINT, signal.default_int_handler)
