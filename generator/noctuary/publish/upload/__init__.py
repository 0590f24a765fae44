"""What a destination holds is made equal to the built site: one module a kind of destination.

:mod:`site_files` lists what the site holds, :mod:`listing` what the destination holds, :mod:`plan` the
difference, :mod:`stages` in which order it may be sent so that no page ever leads to nothing, :mod:`transfer` sends
it, and :mod:`upload` is the story of one upload. A branch of a git repository changes in one step and has its own
(:mod:`git_branch`).
"""
