"""Counting statistics: pure functions of counts, times and intervals.

What to use when
================

*How large is the rate behind these counts?*
    :func:`.poisson.rate_estimate` (dead time, efficiency and false events taken off, exact);
    :func:`.poisson.rate_from_times` for a list of times that may hold events closer than the
    resolving time; :func:`.poisson.counts_limits` for the bare Garwood limits, arrays welcome.
*Do two counters, or two runs, agree?*
    :func:`.ratio.rate_ratio` (exact, with a reference's own uncertainty if it has one);
    :func:`.ratio.ratio_of` and :func:`.difference.difference_of` for rates already corrected.
*What does the source add to the background?*
    :func:`.difference.net_rate`; :func:`.iso11929.characteristics` when the question is whether
    there is anything at all, and for a value that cannot be negative; :mod:`.currie` for detection
    limits in counts.
*Do the counts scatter as they should?*
    :func:`.dispersion.dispersion_test` for counts per interval, on both tails and with what it
    could have seen; :func:`.serial.serial_correlation` when order matters;
    :func:`.changepoints.find_changes` when the rate may have stepped.
*Do the pulses come as they should?*
    :func:`.intervals.exponential_test` and :func:`.intervals.short_excess` (double pulses);
    :func:`.periodicity.mains_test` (pickup).
*What is the dead time?*
    :func:`.deadtime_intervals.dead_time_from_intervals` from a pulse list;
    :func:`.deadtime_sources.dead_time_from_two_sources`;
    :func:`.deadtime_series.dead_time_from_decay` and ``dead_time_from_ladder``;
    :func:`.deadtime_compare.compare_dead_times` to see whether they agree;
    :func:`.deadtime.true_rate_estimate` to correct with it, in any of three models.
*How long must I count?*
    :mod:`.planning`: to a relative uncertainty, split between source and background, to tell two
    counters apart, to settle a criterion.
*The box shows numbers and nothing else.*
    :mod:`.readings`: momentary readings, a displayed average, an accumulated register.
*A ladder of distances; a sweep of the tube's voltage.*
    :func:`.distance.fit_distance`; :func:`.plateau.plateau`.

Exact intervals never cover less than they claim and more when counts are few; approximate ones
scatter about their claim. Each docstring says which it is and what zero counts do. Import from the
modules: this package pulls in none of them, so that a caller pays for what it uses.
"""
