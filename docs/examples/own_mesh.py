"""For somebody who brings a mesh: state its unit and axes, confirm it with a tape, and trace.

Run it from a checkout, cell by cell or as a whole. The attic is invented; its mesh lies beside its scene.
"""

# %% The mesh carries neither unit nor frame, so the scene states them, and tape distances confirm them.
import tomllib
from pathlib import Path

import sim

FOLDER = Path("scenes/attic-facing-gable")
scene = tomllib.loads((FOLDER / "scene.toml").read_text(encoding="utf-8"))
print(scene["room"]["frame"], len(scene["room"]["tape"]), "tape distances")

# %% A wrong unit is refused in one sentence, before anything is traced.
wrong = {**scene, "room": {**scene["room"], "frame": {**scene["room"]["frame"], "unit": "cm"}}}
try:
    sim.check(sim.read_scene(wrong, FOLDER))
except sim.SceneError as fault:
    print(fault)

# %% As it is: which surfaces are there, and how large?
checked = sim.check(sim.read_scene(scene, FOLDER))
print(checked)
for facet in checked.built.room.facets:
    if facet.owner == "room":
        print(f"{facet.name:<20} {facet.area_m2:6.2f} m2  {facet.material}")

# %% Trace it, and list where each surface reflects.
results = sim.trace(checked.scene, order=1)
print(results)
for arrival in results.responses.arrivals:
    if arrival.order == 1 and not arrival.diffracted:
        front, left, up = arrival.main.points[0]
        print(
            f"{arrival.loudspeaker:>6}  {arrival.via:<20} from_front {front:.3f}  from_left {left:.3f}  up {up:.3f} m"
        )
