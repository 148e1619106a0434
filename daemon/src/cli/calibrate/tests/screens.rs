//! Snapshots of each screen.

use super::*;

fn snap(session: &Pretending) -> String {
    shown(session, 80, 24)
}

#[test]
fn the_overview_says_what_is_at_hand_and_what_next() {
    insta::assert_snapshot!(snap(&session()), @r"
     probe `mash`  calibration  board `bench`, channel `a0`
    ────────────────────────────────────────────────────────────────────────────────
     Points at hand
       none yet

     What next
       ice point
       the lower end of the range of use has no point yet

     Calibrations
       none yet; the configured parameters are in use












     enter next point   q leave
    ");
    insta::assert_snapshot!(snap(&two_points_and_a_check()), @r"
     probe `mash`  calibration  board `bench`, channel `a0`
    ────────────────────────────────────────────────────────────────────────────────
     Points at hand
     >   1  ice point                0.00 ± 0.10 Cel (k = 2)
         2  beside `kitchen`         40.00 ± 0.10 Cel (k = 2)
         3  beside `kitchen`         20.00 ± 0.10 Cel (k = 2)  kept out, verifies

     What next
       enough points: fit
       two points fix offset and slope

     Calibrations
       none yet; the configured parameters are in use










     enter fit   n one more point   d drop the point   q leave
    ");
}

#[test]
fn a_reference_is_chosen_described_and_explained() {
    let mut session = session_with([point(0.0, Role::Fit)]);
    press(&mut session, &[Key::Enter]);
    insta::assert_snapshot!(snap(&session), @r"
     probe `mash`  a reference  board `bench`, channel `a0`
    ────────────────────────────────────────────────────────────────────────────────
     Compare it with

       ice point
         crushed ice, stirred: 0.05 to 0.1 Cel
     > reference thermometer  (would help most)
         as good as it is















     up/down choose   enter take it   esc back   q leave
    ");
    press(
        &mut session,
        &[Key::Enter, Key::Letter('x'), Key::Enter, Key::Enter],
    );
    insta::assert_snapshot!(snap(&session), @r"
     probe `mash`  reference thermometer  board `bench`, channel `a0`
    ────────────────────────────────────────────────────────────────────────────────
     What is known of it

     > It shows                 x_
                                such as 37.2 Cel
       Its uncertainty
                                such as 0.1 Cel, k = 2

     ! this is no temperature; write it as `37.2 Cel`

     What it shows is asked once more when the probe is captured.











     enter next   up/down another line   esc back
    ");
    press(
        &mut session,
        &[Key::Erase, Key::Letter('4'), Key::Down, Key::Enter],
    );
    insta::assert_snapshot!(snap(&session), @r"
     probe `mash`  reference thermometer  board `bench`, channel `a0`
    ────────────────────────────────────────────────────────────────────────────────
     reference 4.00 ± 0.10 Cel (k = 2)

     Take care
      !  Glass breaks at a thermal shock.

     How to make it well
      1. Fill a cup to the bottom with crushed ice.
      2. Stir.













     enter it is in: watch it   k keep it out, to verify   esc back   q leave
    ");
}

#[test]
fn a_point_under_way_shows_the_value_large_and_how_it_settles() {
    let mut session = session();
    press(&mut session, &[Key::Enter, Key::Enter, Key::Enter]);
    insta::assert_snapshot!(snap(&session), @r"
     probe `mash`  ice point  board `bench`, channel `a0`
    ────────────────────────────────────────────────────────────────────────────────
     reference 0.00 ± 0.10 Cel (k = 2)



       ███  ███

                 Cel

     no reading yet







     settling ╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌
              waits for a reading
     capture  ╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌        begins by itself once it has settled


     c capture now   r begin anew   esc back   q leave
    ");
    read(&mut session, 30, |at| 20.0 * (-at / 10.0).exp());
    insta::assert_snapshot!(snap(&session), @r"
     probe `mash`  ice point  board `bench`, channel `a0`
    ────────────────────────────────────────────────────────────────────────────────
     reference 0.00 ± 0.10 Cel (k = 2)

         █       ████  ████
        ██       █  █  █
         █       █  █  ████
         █       █  █     █
        ███  ██  ████  ████  Cel

     989.5 ohm; the value is by the curve in use
     20.0│⠒⢄⡀
         │  ⠈⠑⠢⠤⣀
         │       ⠉⠑⠢⠤⣀⣀⡀
         │             ⠈⠑⠢⠤⠤⣀⣀⡀
         │                    ⠈⠉⠒⠒⠢⠤⠤⣀⣀⣀⡀
         │                              ⠈⠉⠉⠉⠒⠒⠒⠒⠤⠤⠤⠤⠤⣀⣀⣀⣀⣀⣀
     1.0 │                                                 ⠉⠉⠉⠉⠉⠉⠉⠑⠒⠒⠒⠒⠒⠒⠒⠒⠒⠒⠒⠢⠤⠤⠤⠤
     settling ━━━━━━━╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌  28 %
              still falling, about 80 s to go
     capture  ╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌        begins by itself once it has settled


     c capture now   r begin anew   esc back   q leave
    ");
}

#[test]
fn a_capture_under_way_shows_how_far_it_is() {
    let mut session = session();
    press(&mut session, &[Key::Enter, Key::Enter, Key::Enter]);
    read(&mut session, 60, |_| 0.1);
    insta::assert_snapshot!(snap(&session), @r"
     probe `mash`  ice point  board `bench`, channel `a0`
    ────────────────────────────────────────────────────────────────────────────────
     reference 0.00 ± 0.10 Cel (k = 2)

       ████        █   ████
       █  █       ██   █  █
       █  █        █   █  █
       █  █        █   █  █
       ████  ██   ███  ████  Cel

     999.0 ohm; the value is by the curve in use
     0.1050│   ⢠  ⢠ ⢀  ⢰  ⡀ ⡄  ⡆   ⢰  ⢠ ⢀  ⢰  ⢀ ⡄  ⡄    ⡆  ⡀⢠  ⢰    ⢠  ⡄ ⡀  ⡆  ⡀⢠
           │⢰ ⡇⢸  ⢸ ⣸⢠ ⣸ ⡄⣇ ⡇  ⡇⢸ ⡇⢸⡀ ⢸⡀⢸⢠ ⢸ ⡄⢸ ⡇  ⡇ ⡇⡆⢀⡇⢀ ⡇⢸ ⡀⢸ ⢰⢸ ⣸  ⣇ ⡇⡄ ⡇ ⡄⡇⢸
           │⣼⢠⢇⢸⢰⢲⢸ ⣿⢸⡄⣿⢠⡇⣿⢀⡇⡗⡄⡇⡜⡄⣧⢸⡇⣼⢸⡇⣸⢸⡄⢸⢠⡇⢸⡄⡇⢰⡆⡇⢠⡇⣧⢸⡇⣼⢰⢇⣸ ⣧⢸ ⣿⢸⡄⣿⢠⡆⣿⢠⡇⣿ ⡇⡸⡇⣇⡸⡇⡧
           │⢻⢸⢸⡟⣼⢸⡜⣷⠹⣸⡇⡏⣾⣇⠟⣼⢣⡇⣷⢹⡇⡇⣿⡇⡇⣿⡜⢇⡿⣸⢇⡎⣿⢸⡸⣿⢣⡜⣧⢻⢸⡇⣿⢸⢱⣿⢸⢸⡟⣼⢸⡎⣿⢸⢸⡇⡟⣼⣧⠻⣸⢇⡇⣿⢱⡇⣇⢿⡇⡇⡇
           │ ⣿⠸⡇⡏⠘⡇⡿ ⡏⢳⠁⡟⢸ ⢿⢸⠁⢻⢸⠃⣿⠸⡇⢧⠋⡇⢸⠇⡏⢸⡇⡟⢸⡇⢿⢸⡇⢹⢸⠎⢸⠸⡎⢸⠋⣾⠸⠇⣿⠘⡇⡿ ⡇⢻ ⡟⢻ ⡟⢸⠁⢻⢸⠃⢹⠸⡇⣷⠁
           │ ⡏ ⠁⡇ ⡇⠁ ⡇⠸ ⡇⢸  ⢸ ⢸⠘ ⢹ ⠃⢸ ⡇  ⡇⠈⡇⠇⠘⡇⠈⢸⠃⢸⠈ ⢸ ⠇⢸ ⡇  ⡏ ⡇⠇ ⡇⠈ ⡇⢸  ⢸ ⠸⢸ ⢸  ⢸
     0.0950│ ⠇  ⠁ ⠃  ⠇   ⠘  ⠘ ⠈  ⠸  ⠈ ⠃  ⠇    ⠇ ⠘ ⠈  ⠸    ⠃  ⠃    ⠇  ⠁⠘  ⠸    ⠸  ⠘
     settling ━━━━━━━━━━━━━━━━━━━━━━━━ 100 %  settled
              no trend in 40 s (95 %), worth 81 of 81 samples
     capture  ━━━━━━━━━━━╌╌╌╌╌╌╌╌╌╌╌╌╌  45 %  keep it still


     c capture now   r begin anew   esc back   q leave
    ");
}

#[test]
fn a_captured_point_shows_how_it_is_known() {
    insta::assert_snapshot!(snap(&taken()), @r"
     probe `mash`  a point  board `bench`, channel `a0`
    ────────────────────────────────────────────────────────────────────────────────
     Point 12 is kept in the log.

     reference 0.00 ± 0.10 Cel (k = 2)
     probe     997.9996 ± 0.0093 ohm (k = 2)

     How it is known
      - settled: no trend in 40 s (95 %), worth 81 of 81 samples
      - captured for 30 s, worth 61 of 61 samples, no drift
     by the curve in use it is off by +0.200 Cel












     enter go on   a again   d drop it   q leave
    ");
    insta::assert_snapshot!(snap(&doubtful()), @r"
     probe `mash`  a point in doubt  board `bench`, channel `a0`
    ────────────────────────────────────────────────────────────────────────────────
     ! the probe reads +4.0 Cel off the ice point

     What is likely behind it
      - still water under floating ice is at 4 Cel: stir, and fill with ice

     reference 0.00 ± 0.10 Cel (k = 2)
     probe     959.9996 ± 0.0093 ohm (k = 2)

     How it is known
      - settled: no trend in 40 s (95 %), worth 81 of 81 samples
      - captured for 30 s, worth 61 of 61 samples, no drift

     It stood still, but settled is not yet right. It is not kept yet.








     enter again   t take it all the same   d drop it   q leave
    ");
}

#[test]
fn an_instrument_is_read_off_when_the_probe_is_captured() {
    let mut session = session_with([point(0.0, Role::Fit)]);
    press(&mut session, &[Key::Enter, Key::Enter]);
    press(&mut session, &[Key::Letter('4'), Key::Down, Key::Enter]);
    press(&mut session, &[Key::Enter]);
    read(&mut session, 200, |_| 4.0);
    insta::assert_snapshot!(snap(&session), @r"
     probe `mash`  reference thermometer  board `bench`, channel `a0`
    ────────────────────────────────────────────────────────────────────────────────
     The probe is captured: read the instrument now

     > It shows                 4_
                                such as 37.2 Cel
       Its uncertainty
                                such as 0.1 Cel, k = 2















     enter that is what it shows   up/down another line   esc watch again
    ");
}

#[test]
fn a_fit_is_a_table_and_a_curve() {
    let mut session = two_points_and_a_check();
    press(&mut session, &[Key::Letter('f')]);
    insta::assert_snapshot!(snap(&session), @r"
     probe `mash`  a fit  board `bench`, channel `a0`
    ────────────────────────────────────────────────────────────────────────────────
     one point: offset on the maker's curve
     ! points lie close together: slope is not known
     point  reference                value                      fit less reference
         1  ice point                0.00 ± 0.10 Cel (k = 2)    +0.010 Cel
         2  beside `kitchen`         40.00 ± 0.10 Cel (k = 2)   +0.010 Cel
         3  kept out: off by +0.00 ± 0.12 (k = 2), tolerance 0.3 Cel: pass
     A reading amid its points is good to ± 0.10 Cel (k = 2); that comes from
      100 %  reference thermometer `kitchen`: a better one would pay





     40.1 Cel│o⠢⠤⠤⠤⣀⣀⣀⡀
             │        ⠈⠉⠉⠑⠒⠒⠒⠤⠤⠤⢄⣀⣀⡀
             │                     ⠈⠉⠉⠑⠒⠒⠒⠤⠤⠤⢄⣀⣀⣀
             │                                   ⠉⠉⠑⠒⠒⠒⠤⠤⠤⢄⣀⣀⣀
             │                                                ⠉⠉⠉⠒⠒⠒⠤⠤⠤⢄⣀⣀⣀
     0.0 Cel │                                                             ⠉⠉⠉⠒⠒⠒⠢o
             └─────────────────────────────────────────────────────────────────────
       600 ohm                                                             1000 ohm
     enter keep this calibration   esc back   q leave
    ");
    press(&mut session, &[Key::Enter]);
    let _ = session.handle(Event::Kept(4));
    let _ = session.handle(Event::Kept(5));
    insta::assert_snapshot!(snap(&session), @r"
     probe `mash`  a calibration  board `bench`, channel `a0`
    ────────────────────────────────────────────────────────────────────────────────
     Calibration 1 is kept in the log.
     It is not in use yet; what is in use stays so until then.

     one point: offset on the maker's curve
     ! points lie close together: slope is not known

         3  kept out: off by +0.00 ± 0.12 (k = 2), tolerance 0.3 Cel: pass














     enter use it from now on   esc not yet   q leave
    ");
}
