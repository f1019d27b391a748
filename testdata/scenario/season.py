"""Writes season.csv: an invented season of eight anglers, seeded, so that every column of a catch table says something.

    python3 season.py > season.csv

Drawn from logit P(test taken) = (.45 + u) + (.5 + v)c + w - .3(second period) - .04(week - 6) + .4(grayling), with u, v, w
normal of SD .35, .25, .3: the values that an analysis ought to come near. None of it is from any water.
"""
import csv
import datetime
import math
import random
import sys

random.seed(20260901)
out = csv.writer(sys.stdout, lineterminator="\n")
out.writerow(["angler", "outing", "block", "period", "lower_pattern", "taken_pattern", "caught_at", "species", "origin",
              "water_type", "fly", "outcome", "foul_hooked", "exclusion", "presentation"])
monday = datetime.date(2026, 4, 6)
for a in range(8):
    u, v = random.gauss(0, .35), random.gauss(0, .25)
    for week in sorted(random.sample(range(12), 5)):
        day = monday + datetime.timedelta(weeks=week, days=random.randrange(7))
        w = random.gauss(0, .3)
        water, presentation = random.choice(["river", "river", "stillwater"]), random.choice(["across", "upstream"])
        for block in (1, 2):
            first = random.choice([1, -1])
            for period, c in ((1, first), (2, -first)):
                for _ in range(random.choice([1, 2, 2, 3])):
                    species = random.choices(["Salmo trutta", "Thymallus thymallus", "Oncorhynchus mykiss"], [6, 3, 1])[0]
                    eta = .45 + u + (.5 + v) * c + w - .3 * (period == 2) - .04 * (week - 6) + .4 * (species == "Thymallus thymallus")
                    taken = "A" if random.random() < 1 / (1 + math.exp(-eta)) else "B"
                    origin = random.choice(["wild", "wild", "stocked", "unknown"]) if species == "Salmo trutta" else "wild"
                    outcome, foul, exclusion = "landed", "no", ""
                    kind = random.random()
                    if kind < .04:
                        taken = "unknown"
                    elif kind < .07:
                        outcome = "lost"
                    elif kind < .085:
                        foul = "yes"
                    elif kind < .10:
                        exclusion = "double"
                    out.writerow([f"angler {a + 1}", f"{day}", block, period, "A" if c == 1 else "B", taken, f"{day}", species, origin,
                                  water, random.choice(["long hackle", "short hackle"]), outcome, foul, exclusion, presentation])
