"""Invented craft with options to choose, with the results that they must give."""

from typing import Final

from gramwatt.model import Example

EXAMPLES: Final = (
    Example(
        "An invented craft 3 g over its limit; a lighter camera, other screws or a lighter pack",
        given={
            "parts": [
                {"name": "frame", "mass": 41.5},
                {"name": "motor", "mass": 11.4, "count": 4},
                {"name": "electronics", "mass": 24.6},
                {"name": "camera", "mass": 31.2},
                {"name": "screw", "mass": 0.52, "count": 16},
                {"name": "strap", "mass": 4.1},
            ],
            "packs": [
                {"name": "650", "cells": 4, "capacity": 650, "mass": 78.3},
                {"name": "550", "cells": 4, "capacity": 550, "mass": 66.9, "price": 19},
            ],
            "kv": 4300,
            "propellers": [{"name": "three blades", "diameter": 3, "pitch": 2.1, "blades": 3, "mass": 1.85}],
            "part_options": [
                {"slot": "camera", "name": "light camera", "mass": 24.8, "price": 60},
                {"slot": "screw", "name": "titanium screw", "mass": 0.31, "price": 0.6},
            ],
            "scale_resolution": 0.1,
            "mass_limit": 238,
            "ranking_size": 3,
        },
        expected={
            "present_mass_margin": -3.02,
            "recommended_swap": "light camera instead of camera",
            "combination_count": 8,
        },
        rtol=1e-9,
        source="by hand: 41.5 + 4 x 11.4 + 24.6 + 31.2 + 16 x 0.52 + 4.1 + 78.3 + 4 x 1.85 = 241.02 g; "
        "31.2 - 24.8 = 6.4 g less with the light camera; 2 packs, 2 cameras and 2 kinds of screw are 8 sets",
    ),
    Example(
        "A craft weighed without its pack, with its average power, in the cold, at a limit that is itself allowed",
        given={
            "dry_mass": 353.8,
            "mean_power": 260,
            "mass_exponent": 1.2,
            "kv": 2400,
            "stator_diameter": 22,
            "stator_height": 6,
            "diameter": 5,
            "pitch": 4.3,
            "blades": 2,
            "pack_temperature": 10,
            "mass_limit": 508.8,
            "limit_comparison": "at-most",
            "scale_resolution": 0,
            "packs": [
                {"name": "small", "cells": 4, "capacity": 1300, "mass": 155, "cell_resistance": 12, "price": 28},
                {"name": "large", "cells": 4, "capacity": 1800, "mass": 203, "cell_resistance": 9, "price": 36},
            ],
            "part_options": [
                {"slot": "camera", "name": "none", "mass": 0},
                {"slot": "camera", "name": "small camera", "mass": 7.2, "avionics_power": 9, "price": 40},
                {"slot": "governor", "name": "without", "mass": 0},
                {"slot": "governor", "name": "capped", "mass": 0, "throttle_cap": 70},
            ],
            "preference": "mass-margin",
            "minimum_endurance": 3,
            "minimum_thrust_to_weight": 3,
            "minimum_probability": 90,
            "maximum_price": 50,
            "ranking_size": 5,
        },
        expected={"combination_count": 8, "best_set": "as it is", "mass": 508.8, "mass_margin": 0},
        rtol=1e-9,
        source="by hand: 353.8 + 155 = 508.8 g is the lightest of 2 x 2 x 2 sets, and just at the limit",
    ),
    Example(
        "A craft measured on a bench, with a strap to choose",
        given={
            "dry_mass": 353.8,
            "kv": 2400,
            "diameter": 5,
            "pitch": 4.3,
            "bench_speed": 26600,
            "bench_thrust": 920,
            "bench_voltage": 14.8,
            "bench_current": 23,
            "mass_limit": 515,
            "packs": [{"name": "small", "cells": 4, "capacity": 1300, "mass": 155, "cell_resistance": 12}],
            "part_options": [
                {"slot": "strap", "name": "wide", "mass": 7.5},
                {"slot": "strap", "name": "thin", "mass": 3.1, "price": 4},
            ],
        },
        expected={"recommended_swap": "thin instead of wide", "present_mass_margin": -1.3, "swapped_mass_margin": 3.1},
        rtol=1e-9,
        source="by hand: 353.8 + 155 + 7.5 = 516.3 g; with 3.1 g in place of 7.5 g 511.9 g",
    ),
    Example(
        "A craft with two of its flights, other motors and controllers to choose, and a rule as limit",
        given={
            "dry_mass": 60,
            "parts": [{"name": "motor", "mass": 10.2, "count": 4}, {"name": "controller", "mass": 9.6}],
            "kv": 4300,
            "propellers": [
                {"name": "flown", "diameter": 3, "pitch": 2.1, "mass": 1.85},
                {"name": "steep", "diameter": 3, "pitch": 2.6, "mass": 1.9, "price": 2},
            ],
            "bench_speed": 20000,
            "bench_thrust": 150,
            "bench_shaft_power": 25,
            "rule": "us-registration",
            "controller_rating": 18,
            "throttle_cap": 90,
            "maximum_rating_share": 120,
            "flights": [
                {"mass": 196, "duration": 6.2, "cells": 4, "capacity": 650, "charge_used": 520},
                {"mass": 221, "duration": 5.4, "cells": 4, "capacity": 650, "charge_used": 520},
            ],
            "packs": [{"name": "flown", "cells": 4, "capacity": 650, "mass": 78, "pack_resistance": 60}],
            "part_options": [
                {
                    "slot": "motor",
                    "name": "larger motor",
                    "mass": 12.4,
                    "kv": 3800,
                    "stator_diameter": 14,
                    "stator_height": 6,
                    "price": 18,
                },
                {
                    "slot": "controller",
                    "name": "strong controller",
                    "mass": 11.2,
                    "count": 1,
                    "controller_rating": 30,
                    "price": 45,
                },
            ],
        },
        expected={"combination_count": 8, "present_mass_margin": 53.6757999},
        rtol=1e-6,
        source="by hand: 0.55 lb = 249.4758 g; 60 + 40.8 + 9.6 + 78 + 4 x 1.85 = 195.8 g; 2 x 2 x 2 sets",
    ),
)
