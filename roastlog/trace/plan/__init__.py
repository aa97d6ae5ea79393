"""The day's plan: from orders to batches with their charges, order and times. Pure.

`day` is what a plan is made from, `planning` makes it. Between them, in this order: `demand` (roasted grams that the
orders need beyond the stock), `yields` (green from roasted, with a likelihood), `patterns` and `batching` (how many
batches, how large, on which machine), `shortage` (what cannot be roasted, and why), `sequence` and `schedule` (order
and times). `bending` plans the rest of a day that has begun; `alternatives` are what a plan traded.
"""
