"""A season of large-format photography, simulated with known truth.

scenes and renderer give luminances in cd/m², camera the light that reaches the film, film the densities,
scanner the file. Nothing here imports negcat: the truth must not come from what it is to judge.
"""
