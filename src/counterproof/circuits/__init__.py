"""From tube to box: the circuit around a counting tube, as pure functions.

What to use when
================

*How much capacitance hangs on the anode, and does the resistor's place matter?*
    :mod:`.cables`: a table of cables, :func:`.cables.coaxial_capacitance_f`,
    :func:`.cables.loading`.
*How large is a pulse, how long does the tube need to recover, what reaches the input?*
    :func:`.pulse.charge_limits` (both limits), :func:`.pulse.recharge_time_s`,
    :func:`.pulse.resolving_time_s`; :func:`.pulse.pulse_at_input` for cathode or anode pick-off
    with everything that loads it; :class:`.network.Network` for any other circuit of resistors and
    capacitors.
*Does the supply hold up at a high rate?*
    :func:`.supply.fixed_drop_load` and :func:`.supply.fixed_charge_load`: the truth lies between.
*Does the box's voltage suit the tube, which resistor, are double pulses to be feared?*
    :mod:`.matching`.
*What does my meter do to the voltage it measures?*
    :mod:`.measuring`.
*How long does the battery last?*
    :mod:`.battery`.
*Can it hurt me?*
    :mod:`.safety`: yes. Stored energy against limits, bleeders, and the cautions to print.

SI units throughout: volts, ohms, farads, coulombs, amperes, seconds. Import from the modules.
"""
