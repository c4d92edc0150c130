"""The counter's figures that a place's own runs support: launch, scale and slip, estimated from all their fixes."""

import pandas as pd

from sewermap.line.counter_fit import fit_model
from sewermap.line.counter_model import CounterModel
from sewermap.line.pushes import counter_fixes, counter_runs
from sewermap.line.scene import Scene


def figures_of_place(scene: Scene, observations: pd.DataFrame) -> CounterModel:
    """The rules' model with the figures that the fixes among these observations make most likely.

    An error that launch and fixes share cannot be seen in their differences: were it counted as theirs, the counter would be
    taken for better than it is. So only the part of the map's variance that they do not share takes part here.
    """
    model = scene.rules.counter
    own_share = 1.0 - model.map_shared
    fixes, _, _ = counter_fixes(
        observations,
        scene.pushes,
        scene.laterals,
        scene.points,
        model,
        material_rule=scene.rules.material_change_at_property_line,
        map_share=own_share,
    )
    return fit_model(counter_runs(scene.pushes, scene.laterals, own_share), fixes, model)
