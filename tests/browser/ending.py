"""How a process that a test has started is ended."""

import subprocess

PATIENCE = 20.0  # s


def end(process: subprocess.Popen[str], number: int) -> None:
    """Ask it by a signal, where it still runs, and take it away where it does not listen."""
    if process.poll() is None:
        process.send_signal(number)
        try:
            process.wait(PATIENCE)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
