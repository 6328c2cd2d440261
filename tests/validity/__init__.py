"""Do the measures say what they claim? A benchmark on real works changed on purpose.

Run `python -m tests.validity` from the project's root. Each part changes works in a
way whose effect on register is known, and counts how often the measures see it.

Conventions
-----------
part       twins (a fold, b gentle, c musical), stay (a hidden stay), entrance (hidden
           entrances), notation, calibration, coverage; the findings published by
           others have tests of their own.
half       composers are split in two by a fixed hash of their id: numbers in the
           definitions may be tuned on half 'tuning'; half 'report' is the honest one.
rate       right answers among all trials; ties and failures count as misses. Intervals
           are exact (Clopper and Pearson 1934, Biometrika 26:404-413), 95 %, and take
           trials as independent, so that trials on one work make them a little narrow.
"""
