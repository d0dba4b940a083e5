"""Flow shops and job shops as constraint models, solved by OR-Tools CP-SAT: only in tests."""

from ortools.sat.python import cp_model


def solver(seconds):
    found = cp_model.CpSolver()
    found.parameters.num_workers = 2
    found.parameters.random_seed = 1
    found.parameters.max_time_in_seconds = seconds
    return found


def flow_shop_sequence(times, *, at_most=None, seconds=30.0):
    """Return sequence, makespan and proved bound of a permutation flow shop."""
    jobs, machines = range(len(times)), range(len(times[0]))
    model = cp_model.CpModel()
    here = [[model.new_bool_var("") for _ in jobs] for _ in jobs]
    for one in jobs:
        model.add_exactly_one(here[one])
        model.add_exactly_one(here[job][one] for job in jobs)
    latest = at_most or sum(map(sum, times))
    ends = [[model.new_int_var(0, latest, "") for _ in machines] for _ in jobs]
    for place in jobs:
        for m in machines:
            worked = sum(times[job][m] * here[job][place] for job in jobs)
            model.add(ends[place][m] >= worked)
            if place:
                model.add(ends[place][m] >= ends[place - 1][m] + worked)
            if m:
                model.add(ends[place][m] >= ends[place][m - 1] + worked)
    model.minimize(ends[-1][-1])
    found = solver(seconds)
    status = found.solve(model)
    assert status in (cp_model.OPTIMAL, cp_model.FEASIBLE), found.status_name(status)
    sequence = [next(j for j in jobs if found.value(here[j][place])) for place in jobs]
    return sequence, found.objective_value, found.best_objective_bound


def job_shop_order(times, machines, *, seconds=30.0):
    """Return an operation order, its makespan and the proved bound of a job shop."""
    model = cp_model.CpModel()
    latest = sum(map(sum, times))
    starts, on = {}, {}
    makespan = model.new_int_var(0, latest, "")
    for job, row in enumerate(times):
        for step, time in enumerate(row):
            start = starts[job, step] = model.new_int_var(0, latest, "")
            held = model.new_fixed_size_interval_var(start, time, "")
            on.setdefault(machines[job][step], []).append(held)
            if step:
                model.add(start >= starts[job, step - 1] + row[step - 1])
        model.add(makespan >= starts[job, len(row) - 1] + row[-1])
    for held in on.values():
        model.add_no_overlap(held)
    model.minimize(makespan)
    found = solver(seconds)
    status = found.solve(model)
    assert status == cp_model.OPTIMAL, found.status_name(status)
    order = [job for job, _ in sorted(starts, key=lambda one: (found.value(starts[one]), one[1]))]
    return order, found.objective_value, found.best_objective_bound


def flexible_job_shop(orders, *, seconds=30.0):
    """Return the shortest makespan where each order takes one of its routes.

    A route is (machine or None, time) in order; whole times; without a machine nothing is held.
    """
    model = cp_model.CpModel()
    latest = sum(max(sum(time for _, time in route) for route in ways) for ways in orders)
    makespan, on = model.new_int_var(0, latest, ""), {}
    for ways in orders:
        taken = [model.new_bool_var("") for _ in ways]
        model.add_exactly_one(taken)
        for here, route in zip(taken, ways, strict=True):
            ready = 0
            for machine, time in route:
                start = model.new_int_var(0, latest, "")
                model.add(start >= ready).only_enforce_if(here)
                if machine is not None:
                    held = model.new_optional_fixed_size_interval_var(start, time, here, "")
                    on.setdefault(machine, []).append(held)
                ready = start + time
            model.add(makespan >= ready).only_enforce_if(here)
    for held in on.values():
        model.add_no_overlap(held)
    model.minimize(makespan)
    found = solver(seconds)
    status = found.solve(model)
    assert status == cp_model.OPTIMAL, found.status_name(status)
    return found.objective_value
