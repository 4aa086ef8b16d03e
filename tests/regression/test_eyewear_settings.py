"""Eyewear covers every setting that the case allows, however the pulse length is given."""

from tests.regression.test_pedestals import assessed, numbers

DUTY = 'kind = "pulse train"\nduty = ["1 %", "50 %"]\nrepetition_rate = ["1 kHz", "100 kHz"]\nmean_power = "30 W"\n'


def test_eyewear_covers_every_pulse_length_that_a_range_of_duty_gives():
    # 1 % of the period is 100 ns at 100 kHz, letter R, and 10 us at 1 kHz, letter I: the eyewear has to be marked for
    # both, and for D. 30 W at 1 kHz are 30 mJ on 1.288e-4 m2: H = 233 J/m2, 5000 pulses in 5 s: H' = 233 x 5000^0.25 =
    # 1959 J/m2. Modes I and R hold 5 x 10^(n - 3) J/m2: n = 5.6, so I LB6. Just above 20 kHz 1.5 mJ come in 0.5 us and
    # two of them in T_i = 50 us: H' = 2 x 11.6 x 100 000^0.25 = 414 J/m2, n = 4.9, so R LB5. D carries 30 W: E' =
    # 76.3 x 2.33e5 = 1.78e7 W/m2, so D LB7.
    assert numbers(assessed(DUTY, "1064 D LB7 + IR LB6")) == {"I": 6, "R": 5, "D": 7}


def test_eyewear_covers_each_mode_of_a_table_and_not_only_the_worst_for_the_eye():
    # On 1.288e-4 m2, as above. Deep: 100 mJ give H = 776 J/m2, 25 pulses in 5 s: 776 x 25^0.25 = 1736 J/m2, I LB6.
    # Fast: 5 pulses of 1 mJ in T_i = 50 us, 38.8 J/m2 x 100 000^0.25 = 690 J/m2: n = 5.1, so R LB6; D carries its
    # 100 W: 76.3 x 7.76e5 = 5.9e7 W/m2, D LB7. Only I LB6 and the D LB5 of the 0.5 W of 'deep' were asked for.
    deep = '{ name = "deep", pulse_duration = "3 us", repetition_rate = "5 Hz", pulse_energy = "100 mJ" }'
    fast = '{ name = "fast", pulse_duration = "100 ns", repetition_rate = "100 kHz", mean_power = "100 W" }'
    for modes in (f"[{deep}, {fast}]", f"[{fast}, {deep}]"):
        found = assessed(f'kind = "mode table"\nmodes = {modes}\n', "1064 D LB7 + I LB6 + R LB6")
        assert numbers(found) == {"I": 6, "R": 6, "D": 7}
        assert found.eyewear[0].verdict.enough
    # Y: not tested at 25 Hz or below, where 'slow' pulses, whichever mode is the worst.
    slow = '{ name = "slow", pulse_duration = "100 ns", repetition_rate = "10 Hz", pulse_energy = "10 uJ" }'
    found = assessed(f'kind = "mode table"\nmodes = [{fast}, {slow}]\n', "1064 D LB7 + R LB6Y")
    assert not found.eyewear[0].verdict.enough
