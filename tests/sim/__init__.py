"""Flight simulator for tests: truth, sensors, packets and radio loss for invented rockets.

Shares no code with the program under test, and its truth is richer than the estimator's model:
attitude dynamics, gusts, off-standard air, drag and thrust shapes, sensor faults, clock and radio faults.
Every flight is fixed by its class and seed (NumPy PCG64).
"""

VERSION = 4
# counts changes of what is written beside unchanged truth and packets up to apogee (setup files, plans, descents)
FILES = 4
