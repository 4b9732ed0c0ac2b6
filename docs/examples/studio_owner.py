"""For somebody who sets up monitors in a room of their own: which reflections are there, and what does a change buy.

Run it from a checkout, cell by cell or as a whole. The room is invented.
"""

# %% The room as measured: is anything odd?
import sim

SCENE = "scenes/bedroom-on-desk"
checked = sim.check(SCENE)
print(checked)
for sentence in checked.warnings:
    print("-", sentence)

# %% What reaches the seat early, and how strong it is.
results = sim.trace(SCENE, order=1)
print(results)
for row in sorted((row for row in results.rows() if row["number"]), key=lambda row: -row["worst_db"])[:5]:
    print(f"{row['loudspeaker']:>6}  {row['path']:<40} {row['worst_db']:6.1f} dB  {row['delay_ms']:5.2f} ms")

# %% One of them taken apart: each loss on its path, and what would remove it.
why = sim.explain(results, 1, loudspeaker="left")
print(why)

# %% Would it help to lift the monitors off the desk? The second scene has them on stands.
stands = sim.trace("scenes/bedroom-on-stands", order=1)
comparison = sim.compare([results, stands])
print(comparison)
for sentence in comparison.improved[0][:3]:
    print("better:", sentence)
for sentence in comparison.worse[0][:3]:
    print("worse:", sentence)

# %% Keep it: tables with tape distances to confirm with a mirror.
print("written to", sim.save(stands, "results/on-stands", replace=True))
