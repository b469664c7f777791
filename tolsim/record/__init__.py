"""Array code recorded once, replayed with reused buffers and differentiated.

Physics is written plainly on arrays. Run once on tracers it leaves a list of ufunc calls; replaying
that list into a few buffers that stay in the cache costs a fraction of the plain run, because
numpy maps and page-faults every temporary above 128 KB. One backward sweep over the same list
gives exact gradients.
"""

from tolsim.record.quiet import nothing_collected
from tolsim.record.recording import Recording, record
from tolsim.record.runner import Judging, Runner
from tolsim.record.tape import Array, Primitive, Tracer

__all__ = [
    "Array",
    "Judging",
    "Primitive",
    "Recording",
    "Runner",
    "Tracer",
    "nothing_collected",
    "record",
]
