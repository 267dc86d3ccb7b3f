"""Holds our network against the peer's: compare.py RECORD PEER."""
import json, math, sys

record, peer = json.load(open(sys.argv[1])), json.load(open(sys.argv[2]))
ours = {p["point"]: p for p in record["references"]}
far, wide = 0.0, 0.0
for name, (e, n), ((a, b), (_, d)) in zip(peer["names"], peer["places"], peer["blocks"]):
    mine = ours[name]
    far = max(far, math.hypot(mine["easting"] - e, mine["northing"] - n))
    major = 2.4477 * math.sqrt((a + d) / 2 + math.hypot((a - d) / 2, b))
    wide = max(wide, abs(mine["semi_major_95"] / major - 1))
print(f"  largest difference of {len(peer['names'])} places {far * 1000:.4f} mm, of their 95 % ellipses {wide * 100:.3f} %; the peer took {peer['steps']} steps")
