//! What must hold for every club, whatever its angles: turns keep directions at right angles, a left-handed club is the
//! mirror image of a right-handed one, and what is bent or turned forth and back is as before.
//!
//! The properties are those of rotations in space; the numbers of single clubs are in `published_club.rs`.

use benchscribe::club::angles::{
    Face, Vector, bend_loft, cross, dot, held_at_old_lie, loft_in_shaft_plane, shaft_axis, turn, turn_about_shaft,
};
use benchscribe::club::inclinometer::{Fixture, club_from_readings, read_in_fixture};
use benchscribe::club::sleeve::{Sleeve, put_on_sleeve};
use benchscribe::club::sleeve_table::{Wanted, best, changes};
use benchscribe::measurement::gauge::{Datum, FaceAngle, GaugeCalibration, Hand, Laid, LoftSense};
use benchscribe::measurement::unit::Degrees;
use proptest::prelude::*;

fn face() -> impl Strategy<Value = Face> {
    (-5.0..64.0f64, -6.0..6.0f64).prop_map(|(loft, angle)| Face { loft: Degrees(loft), angle: Degrees(angle) })
}

fn lie() -> impl Strategy<Value = Degrees> {
    (54.0..74.0f64).prop_map(Degrees)
}

fn unit() -> impl Strategy<Value = Vector> {
    (-1.0..1.0f64, -180.0..180.0f64).prop_map(|(z, around)| {
        let (level, around) = ((1.0 - z * z).sqrt(), around.to_radians());
        [level * around.cos(), level * around.sin(), z]
    })
}

fn near(a: f64, b: f64, within: f64) -> bool {
    (a - b).abs() <= within
}

fn same(a: Vector, b: Vector) -> bool {
    a.iter().zip(b).all(|(a, b)| near(*a, b, 1e-12))
}

/// The matrix of a turn, column by column: where it takes the three axes.
fn columns(axis: Vector, angle_rad: f64) -> [Vector; 3] {
    [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]].map(|unit| turn(axis, angle_rad, unit))
}

proptest! {
    #[test]
    fn a_turn_is_an_orthonormal_matrix_of_determinant_one(axis in unit(), angle in -7.0..7.0f64) {
        let [x, y, z] = columns(axis, angle);
        for (a, b, expected) in [(x, x, 1.0), (y, y, 1.0), (z, z, 1.0), (x, y, 0.0), (y, z, 0.0), (z, x, 0.0)] {
            prop_assert!(near(dot(a, b), expected, 1e-12));
        }
        prop_assert!(near(dot(cross(x, y), z), 1.0, 1e-12));
        prop_assert!(same(turn(axis, angle, axis), axis));
        // The trace of a rotation is 1 + 2 cos of its angle (any textbook on rigid bodies).
        prop_assert!(near(x[0] + y[1] + z[2], 1.0 + 2.0 * angle.cos(), 1e-12));
    }

    #[test]
    fn a_face_is_a_unit_vector_and_comes_back_from_it(face in face()) {
        let normal = face.normal();
        prop_assert!(near(dot(normal, normal), 1.0, 1e-12));
        let back = Face::from_normal(normal).unwrap();
        prop_assert!(near(back.loft.0, face.loft.0, 1e-9) && near(back.angle.0, face.angle.0, 1e-9));
    }

    #[test]
    fn a_left_handed_club_is_the_mirror_image(face in face(), lie in lie(), closing in -10.0..10.0f64) {
        // A mirror turns every rotation round: the mirrored club turns by the same angle the other way about the
        // mirrored shaft, and what closes the one closes the other.
        let mirror = |v| Hand::Left.place(v);
        let turned = turn_about_shaft(face, lie, Degrees(closing)).unwrap();
        let left = turn(mirror(shaft_axis(lie)), -closing.to_radians(), mirror(face.normal()));
        prop_assert!(same(left, mirror(turned.normal())));
        prop_assert!(same(mirror(mirror(face.normal())), face.normal()));
        // Closed looks to the golfer: +Y for a right-handed club, −Y for a left-handed one.
        if face.angle.0.abs() > 1e-6 {
            prop_assert!(face.normal()[1] * face.angle.0 > 0.0 && mirror(face.normal())[1] * face.angle.0 < 0.0);
        }
        prop_assert!(shaft_axis(lie)[1] > 0.0 && mirror(shaft_axis(lie))[1] < 0.0);
    }

    #[test]
    fn a_left_handed_club_reads_in_a_fixture_as_a_right_handed_one_in_its_mirror_image(
        face in face(), lie in lie(), pitch in -5.0..5.0f64, roll in -5.0..5.0f64,
    ) {
        let (fixture, mirrored) = (
            Fixture { pitch: Degrees(pitch), roll: Degrees(roll) },
            Fixture { pitch: Degrees(pitch), roll: Degrees(-roll) },
        );
        let left = read_in_fixture(face, lie, Hand::Left, fixture).unwrap();
        let right = read_in_fixture(face, lie, Hand::Right, mirrored).unwrap();
        prop_assert!(near(left.loft.0, right.loft.0, 1e-9) && near(left.lie.0, right.lie.0, 1e-9));
        let club = club_from_readings(left, face.angle, Hand::Left, fixture).unwrap();
        prop_assert!(near(club.loft.0, face.loft.0, 1e-7) && near(club.lie.0, lie.0, 1e-7));
    }

    #[test]
    fn bent_and_bent_back_is_as_before(
        face in face(), bounce in -5.0..25.0f64, by in -4.0..4.0f64,
    ) {
        let (loft, sole) = bend_loft(face.loft, Degrees(bounce), Degrees(by)).unwrap();
        let (loft, sole) = bend_loft(loft, sole, Degrees(-by)).unwrap();
        prop_assert!(near(loft.0, face.loft.0, 1e-12) && near(sole.0, bounce, 1e-12));
        let there = held_at_old_lie(face, Degrees(by)).unwrap();
        let back = held_at_old_lie(there, Degrees(-by)).unwrap();
        prop_assert!(near(back.loft.0, face.loft.0, 1e-9) && near(back.angle.0, face.angle.0, 1e-9));
        // Upright closes a lofted face, flat opens it.
        if face.loft.0 > 1.0 && by.abs() > 1e-6 {
            prop_assert!((there.angle.0 - face.angle.0) * by > 0.0);
        }
    }

    #[test]
    fn turned_and_turned_back_is_as_before(face in face(), lie in lie(), closing in -10.0..10.0f64) {
        let there = turn_about_shaft(face, lie, Degrees(closing)).unwrap();
        let back = turn_about_shaft(there, lie, Degrees(-closing)).unwrap();
        prop_assert!(near(back.loft.0, face.loft.0, 1e-9) && near(back.angle.0, face.angle.0, 1e-9));
    }

    #[test]
    fn both_definitions_of_loft_lead_back(face in face(), lie in lie()) {
        let shown = loft_in_shaft_plane(face, lie).unwrap();
        let back = LoftSense::ShaftPlane.to_vertical(shown.0, lie.0, face.angle.0);
        prop_assert!(near(back, face.loft.0, 1e-9));
    }

    #[test]
    fn a_sleeve_turned_by_half_undoes_itself_at_first_order(
        face in face(), lie in lie(), tilt in 0.1..1.0f64, clock in 0.0..360.0f64,
    ) {
        // Opposite positions have opposite effects but for terms of the second order in the tilt.
        let put = |clock: f64| put_on_sleeve(face, lie, Sleeve { tilt: Degrees(tilt), clock: Degrees(clock) }).unwrap();
        let (here, there) = (put(clock), put(clock + 180.0));
        let room = 0.12 * tilt * tilt;
        prop_assert!(near(here.lie_soled.0 - lie.0, lie.0 - there.lie_soled.0, room));
        prop_assert!(near(here.shaft_held.loft.0 - face.loft.0, face.loft.0 - there.shaft_held.loft.0, room));
        prop_assert!(near(here.shaft_lean.0, -there.shaft_lean.0, 1e-9));
    }

    #[test]
    fn the_best_position_is_no_further_than_any_other(
        face in face(), lie in lie(), tilt in 0.0..2.0f64, at in 0usize..8,
        wanted_lie in -2.0..2.0f64, wanted_loft in -2.0..2.0f64,
    ) {
        let clocks: Vec<Degrees> = (0..8u8).map(|eighth| Degrees(f64::from(eighth) * 45.0)).collect();
        let rows = changes(face, lie, Degrees(tilt), &clocks, Some(clocks[at])).unwrap();
        let wanted = Wanted { lie: Some(wanted_lie), loft: Some(wanted_loft), face: None };
        let chosen = best(&rows, wanted).unwrap();
        prop_assert!(rows.iter().all(|row| chosen.distance(wanted) <= row.distance(wanted) + 1e-9));
        // Where it was measured nothing changes, and the lie that the table starts from is the measured one.
        let own = rows[at];
        prop_assert!(near(own.lie.0, 0.0, 1e-9) && near(own.loft_same_face.0, 0.0, 1e-9));
    }
}

#[test]
fn clock_positions_count_against_the_clock_seen_from_the_grip_of_a_right_handed_club() {
    // From the upright side u toward the target X: u × X points up the shaft, toward an eye at the grip, so the count is
    // counter-clockwise there; the mirror image counts clockwise.
    let lie = Degrees(58.0);
    let up = shaft_axis(lie);
    let upright = [0.0, -up[2], up[1]];
    let target = [1.0, 0.0, 0.0];
    assert!(dot(cross(upright, target), up) > 0.999);
    let left = |v| Hand::Left.place(v);
    assert!(dot(cross(left(upright), left(target)), left(up)) < -0.999);
}

#[test]
fn a_datum_for_each_hand_makes_up_for_a_fixture_that_is_out_of_level() {
    // The bench's gauges subtract what they read of a reference of 30 deg loft and 60 deg lie, laid in as a club of each
    // hand; how far is that from the exact correction? Truth is the rotation model of `club::inclinometer`, whose numbers
    // are checked with the vectors. Clubs from a driver to a wedge, of both hands, with faces off square.
    let (reference, reference_lie) = (Face { loft: Degrees(30.0), angle: Degrees(0.0) }, Degrees(60.0));
    for (slope, allowed) in [(1.0, 0.02), (2.0, 0.08)] {
        let mut worst = (0.0f64, 0.0f64);
        for (pitch, roll) in [(slope, slope), (slope, -slope), (-slope, slope), (-slope, -slope)] {
            let fixture = Fixture { pitch: Degrees(pitch), roll: Degrees(roll) };
            let datum = |hand| {
                let read = read_in_fixture(reference, reference_lie, hand, fixture).unwrap();
                Datum { lie: Degrees(read.lie.0 - 60.0), loft: Degrees(read.loft.0 - 30.0) }
            };
            let right = datum(Hand::Right);
            let gauge = GaugeCalibration {
                lie_datum: right.lie,
                loft_datum: right.loft,
                left: Some(datum(Hand::Left)),
                u_datum: Degrees(0.0),
                u_level: Degrees(0.0),
                loft_sense: LoftSense::Vertical,
                u_face: None,
                scatter: None,
            };
            for (loft, lie, closed_deg) in [(10.5, 58.0, 2.0), (27.0, 61.5, 0.0), (46.0, 64.0, -1.0), (58.0, 64.0, 0.0)]
            {
                for hand in [Hand::Right, Hand::Left] {
                    let face = Face { loft: Degrees(loft), angle: Degrees(closed_deg) };
                    let read = read_in_fixture(face, Degrees(lie), hand, fixture).unwrap();
                    let levels = [read.lie.0 - right.lie.0, read.loft.0 - right.loft.0];
                    let laid = Laid::Club { hand, face: Some(FaceAngle { closed_deg, u_deg: 0.0 }) };
                    let [found_lie, found_loft] = gauge.angles(levels, Some(laid)).unwrap();
                    worst = (worst.0.max((found_loft - loft).abs()), worst.1.max((found_lie - lie).abs()));
                }
            }
        }
        assert!(worst.0 < allowed && worst.1 < allowed, "{slope}: {worst:?}");
    }
}
