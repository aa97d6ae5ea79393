"""Checks that a day can be planned. Each fault is one sentence with the thing, what is wrong, and what to do."""

from math import isfinite

from roastlog.errors import PlanError
from roastlog.languages import _
from roastlog.quality.loss import MOST_LOSS
from roastlog.trace.plan.day import Batch, Day, Done, Fill, Leave, Machine, Order, Pin, Product

_SHARES_OFF = 1e-6  # by which shares may differ from 100 %, for thirds and the like
_LEAST_SHARE = 0.01  # less is no part of a blend, and not whole grams of a small charge [our choice]


def check(day: Day) -> None:
    """Check a day.

    An order that no plan can meet is no fault of the day, nor one that is overdue or a lot without green: the plan says
    what is short, and why.

    Raises
    ------
    PlanError
        For the first fault.
    """
    if not 0.5 <= day.likelihood < 1:
        raise PlanError(_("Likelihood must be 50–99.9 %, not {given:.1f} %.", given=100 * day.likelihood))
    for product in day.products:
        _check_product(product)
    if day.orders and not day.used_machines:
        raise PlanError(_("There is no machine to roast on. Add one, or use one that was left out of the plan."))
    for machine in day.machines:
        _check_machine(machine)
    for order in day.orders:
        _check_order(order, day)
    for choice in day.choices:
        if isinstance(choice, Pin):
            _check_pin(choice, day)
        if isinstance(choice, (Leave, Fill)):
            _named(choice.product, day)
    placed: tuple[Done | Batch, ...] = (*day.done, *day.remaining)
    for each in placed:
        _check_place(each, day)


def _check_product(product: Product) -> None:
    whole = sum(each.share for each in product.shares)
    if not abs(whole - 1) <= _SHARES_OFF or not all(each.share >= _LEAST_SHARE for each in product.shares):
        raise PlanError(
            _(
                "{product}: the shares of its lots must each be at least 1 % and 100 % together, not {whole:.1f} %. "
                "Correct the blend.",
                product=product.name,
                whole=100 * whole,
            )
        )
    for loss in product.losses:
        if not 0 <= loss <= MOST_LOSS:
            raise PlanError(
                _(
                    "{product}: a roast loss must be 0–{most:.0f} %, not {loss:.1f} %. Correct that batch's weights.",
                    product=product.name,
                    most=100 * MOST_LOSS,
                    loss=100 * loss,
                )
            )
    for length_s in product.lengths_s:
        if not (isfinite(length_s) and length_s > 0):
            raise PlanError(
                _(
                    "{product}: a batch must take longer than 0 s, not {length:.0f} s. Correct its charge or its drop.",
                    product=product.name,
                    length=length_s,
                )
            )


def _check_machine(machine: Machine) -> None:
    if not 0 < machine.smallest_g <= machine.largest_g:
        raise PlanError(
            _(
                "{machine}: the smallest charge, {smallest} g, must be above 0 and the largest, {largest} g, no less.",
                machine=machine.name,
                smallest=machine.smallest_g,
                largest=machine.largest_g,
            )
        )
    durations = (machine.warm_up_min, machine.between_min, machine.between_spread_min)
    if not all(isfinite(minutes) and minutes >= 0 for minutes in durations):
        raise PlanError(
            _("{machine}: warm-up and between-batch routine must be 0 minutes or more.", machine=machine.name)
        )


def _check_order(order: Order, day: Day) -> None:
    if order.product not in day.by_product:
        raise PlanError(
            _("Order {order}: there is no product {product}. Add it.", order=order.id, product=order.product)
        )
    if order.bag_g <= 0 or order.count <= 0:
        raise PlanError(
            _(
                "Order {order}: bags must be at least 1 of at least 1 g, not {count} of {bag} g.",
                order=order.id,
                count=order.count,
                bag=order.bag_g,
            )
        )


def _check_pin(pin: Pin, day: Day) -> None:
    machine = _check_place(pin, day)
    if not machine.smallest_g <= pin.green_g <= machine.largest_g:
        raise PlanError(
            _(
                "{machine}: a charge must be {smallest}–{largest} g, not {charge} g.",
                machine=machine.name,
                smallest=machine.smallest_g,
                largest=machine.largest_g,
                charge=pin.green_g,
            )
        )
    if not machine.roasts(pin.product) or machine not in day.used_machines:
        raise PlanError(
            _(
                "{machine} may not roast {product} in this plan. Use another machine.",
                machine=machine.name,
                product=day.by_product[pin.product].name,
            )
        )
    if pin.position is not None and pin.position < 1:
        raise PlanError(_("The place of a batch must be 1 or later, not {position}.", position=pin.position))


def _check_place(batch: Pin | Done | Batch, day: Day) -> Machine:
    _named(batch.product, day)
    found = next((machine for machine in day.machines if machine.id == batch.machine), None)
    if found is None:
        raise PlanError(_("There is no machine {machine} in this plan.", machine=batch.machine))
    return found


def _named(product: str, day: Day) -> None:
    if product not in day.by_product:
        raise PlanError(_("There is no product {product}. Add it.", product=product))
