"""Beliefs of the trade (common practice, no source) and the tests of whole rovers that prove them."""

FORCED = "tests/behaviour/test_behaviour_forced_field.py"
ROVER = "tests/behaviour/test_behaviour_rover.py"
SUPPLY = "tests/behaviour/test_behaviour_supply_heat.py"
GROUND = "tests/behaviour/test_behaviour_ground_frame.py"

#: (belief, node id of the test: file::function)
BELIEFS: list[tuple[str, str]] = [
    (
        "A locked wheel turns at exactly its frequency, however loaded; load moves only its angle.",
        f"{FORCED}::test_locked_wheels_turn_at_exactly_one_frequency_however_loaded",
    ),
    (
        "Past pull-out a wheel falls behind by whole poles while the others hold.",
        f"{FORCED}::test_the_wheel_past_pull_out_falls_behind_by_whole_poles_and_the_others_hold",
    ),
    (
        "A heavy wheel pulls in at a lower frequency than a light one.",
        f"{FORCED}::test_a_heavy_wheel_pulls_in_at_a_lower_frequency_than_a_light_one",
    ),
    (
        "Pull-in lies far below pull-out: ramp up, and a locked drive goes where it could never start.",
        f"{FORCED}::test_pull_in_lies_far_below_pull_out_and_only_pull_in_knows_the_inertia",
    ),
    (
        "Heavy grippy tyres do not start where the original ones do.",
        f"{FORCED}::test_heavy_grippy_tyres_do_not_start_where_the_original_tyres_do",
    ),
    (
        "A frequency trimmed from the measured speed chases itself out of step where a locked one holds.",
        f"{FORCED}::test_a_trimmed_frequency_chases_itself_out_of_step_where_a_locked_one_holds",
    ),
    (
        "A locked field draws full current at standstill.",
        f"{FORCED}::test_a_locked_field_draws_full_current_at_standstill_and_at_level_creep",
    ),
    (
        "On the same rubble locked wheels fight each other more than speed loops do.",
        f"{FORCED}::test_locked_wheels_fight_more_than_speed_loops_on_the_same_rubble",
    ),
    (
        "The lifted wheel spins at its speed while the others stall and the body stays.",
        f"{ROVER}::test_the_lifted_wheel_reaches_its_speed_while_the_others_stall_and_the_body_stays",
    ),
    (
        "One Hall sensor hunts at a crawl where three do not.",
        f"{ROVER}::test_one_hall_sensor_hunts_at_crawl_speed_where_three_do_not",
    ),
    (
        "Twice the resistance halves the stall torque; √2 times the voltage brings the heat back.",
        f"{ROVER}::test_twice_the_resistance_halves_stall_torque_and_root_two_times_the_voltage_restores_the_heat",
    ),
    (
        "Turning on the spot needs many times the torque of going straight.",
        f"{ROVER}::test_turning_on_the_spot_needs_many_times_the_torque_of_going_straight",
    ),
    (
        "As the battery empties, turning on the spot is the first thing to fail.",
        f"{ROVER}::test_as_the_battery_empties_turning_on_the_spot_is_the_first_to_fail",
    ),
    (
        "A skewed frame that presses on its bearings shortens the way over rubble.",
        f"{ROVER}::test_a_skewed_frame_that_presses_on_its_bearings_shortens_the_way_over_rubble",
    ),
    (
        "A small pouch cell's safe current is its C rating times its capacity.",
        f"{SUPPLY}::test_a_pouch_cell_s_safe_current_is_its_c_rating_times_its_capacity",
    ),
    (
        "A board that just reaches its limit at nominal voltage exceeds it on a full pack.",
        f"{SUPPLY}::test_a_board_that_just_reaches_its_limit_at_nominal_voltage_exceeds_it_on_a_full_pack",
    ),
    (
        "Brown-out comes first when several wheels stall at once.",
        f"{SUPPLY}::test_brown_out_comes_first_when_several_wheels_stall_at_once",
    ),
    (
        "A stutter comes no faster than the controllers boot.",
        f"{SUPPLY}::test_a_stutter_comes_no_faster_than_the_controllers_boot",
    ),
    (
        "Ten times the bus capacitance rides through a ten times longer bounce.",
        f"{SUPPLY}::test_more_bus_capacitance_rides_through_a_longer_bounce",
    ),
    (
        "A current limit saves the bus and costs torque.",
        f"{SUPPLY}::test_a_current_limit_saves_the_bus_and_costs_torque",
    ),
    (
        "Thinner inner copper costs torque.",
        f"{SUPPLY}::test_thinner_inner_copper_costs_torque",
    ),
    (
        "One more cell brings the torque back and overheats the board.",
        f"{SUPPLY}::test_one_more_cell_brings_the_torque_back_and_overheats_the_board",
    ),
    (
        "Spike tyres climb higher steps than smooth ones of the same radius.",
        f"{GROUND}::test_spike_tyres_climb_higher_steps_than_smooth_ones_of_the_same_radius",
    ),
    (
        "Removing the preload from a skewed frame lengthens the way.",
        f"{GROUND}::test_removing_the_preload_from_a_skewed_frame_lengthens_the_way",
    ),
    (
        "A frame that twists lifts fewer wheels.",
        f"{GROUND}::test_a_frame_that_twists_lifts_fewer_wheels",
    ),
    (
        "Four driven wheels pull more than two of the same.",
        f"{GROUND}::test_four_driven_wheels_pull_more_than_two_of_the_same",
    ),
    (
        "Lugs and width pull more on loose sand.",
        f"{GROUND}::test_lugs_and_width_pull_more_on_loose_sand",
    ),
    (
        "Lugs pull more on wet clay.",
        f"{GROUND}::test_lugs_pull_more_on_wet_clay",
    ),
    (
        "A dead driver is dragged; a shorted one brakes.",
        f"{GROUND}::test_a_dead_driver_is_dragged_and_a_shorted_one_brakes",
    ),
    (
        "A stuck Hall sensor makes a speed loop push at full voltage.",
        f"{GROUND}::test_a_stuck_hall_sensor_makes_a_speed_loop_push_at_full_voltage",
    ),
    (
        "One wheel in the air starves the others when all get the same current.",
        f"{GROUND}::test_one_wheel_in_the_air_starves_the_others_under_equal_current",
    ),
]
