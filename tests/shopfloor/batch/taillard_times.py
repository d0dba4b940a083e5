"""Taillard's flow shops, made by the generator of the paper (source `taillard-1993`, section 2)."""

MODULUS = 2**31 - 1


def taillard_times(seed, jobs, machines):
    """Return times[job][machine], uniform whole numbers from 1 to 99, drawn machine by machine."""
    drawn = []
    for _ in range(jobs * machines):
        seed = 16807 * seed % MODULUS
        drawn.append(1 + 99 * seed // MODULUS)
    return [drawn[job::jobs] for job in range(jobs)]
