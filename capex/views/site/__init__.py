"""The pages without a calculation of their own: the studies, their versions, two side by side.

May import: tornado, voila, and from capex errors, study, decision and views.
"""
