"""For somebody who designs treatment: compare build-ups, try panels of one's own, then let a plan be worked out.

Run it from a checkout, cell by cell or as a whole. The room is invented. Panels overhead need rated fixings into
structure and a second tether; ask for the fire class of the whole panel.
"""

# %% Two build-ups against each other, at random incidence.
import sim

for words in ("50 mm wool", "100 mm wool, 100 mm gap"):
    table = sim.absorber(words)
    print(table)
    print({row["band_hz"]: round(row["absorption"], 2) for row in table.rows()})

# %% A cloud of one's own: before and after.
SCENE = "scenes/bedroom-on-stands"
bare = sim.trace(SCENE, order=1)
cloud = {
    "name": "cloud",
    "surface": "ceiling",
    "material": "100 mm wool",
    "gap": "100 mm",
    "from_front": [0.6, 1.4],
    "from_left": [1.1, 2.3],
}
hung = sim.trace(sim.add(SCENE, "panels", cloud), order=1)
print(sim.compare([bare, hung]))

# %% The same cloud, moved: four places, one number each.
for front in (0.5, 0.6, 0.7, 0.8):
    moved = sim.change(hung.scene, {"cloud.from_front": front})
    loudest = max(row["worst_db"] for row in sim.trace(moved, order=1).rows() if row["path"].startswith("ceiling"))
    print(f"from_front {front:.1f} m: ceiling at {loudest:.1f} dB")

# %% What a plan says: which panels exactly where, what each buys, and when to stop.
plan = sim.treat(SCENE, panels=2)
print(plan)
for row in plan.rows():
    print(row["panel"], "on", row["surface"], f"{row['gain_db']:.1f} dB")
for sentence in plan.cautions:
    print("mind:", sentence)
