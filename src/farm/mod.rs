//! The farm around the machine: land, time, weeds, prices, soil and tools on hand, and the laws of field work.
//!
//! SI units; money in the scenario's currency.

pub mod fieldwork;

/// A number with the range in which it may lie.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ranged {
    /// What is reckoned with.
    pub value: f64,
    /// Least that is tried.
    pub low: f64,
    /// Greatest that is tried.
    pub high: f64,
}

/// Land and time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Land {
    /// Land to work in one round, m².
    pub area_m2: f64,
    /// Length of the rows, m.
    pub row_length_m: f64,
    /// From lifting to lowering, s.
    pub turn_s: f64,
    /// Share of the time in the field lost beside turning.
    pub idle_share: f64,
    /// Rounds a season.
    pub rounds: u64,
    /// Days that soil and weather allow for one round.
    pub workable_days: f64,
    /// Hours of work by daylight on such a day.
    pub day_hours: f64,
    /// Hours under lights on such a day.
    pub night_hours: f64,
    /// Factor on the camera's noise under lights.
    pub night_noise: f64,
}

/// Weeds and the work they make.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weeds {
    /// Weeds before the pass, 1/m².
    pub density_1_m2: Ranged,
    /// Share of the weeds in the worked strip that the tools undercut.
    pub undercut_share: Ranged,
    /// Weeds that one person pulls in an hour.
    pub pulled_an_hour: Ranged,
}

/// Prices in one currency.
#[derive(Clone, Debug, PartialEq)]
pub struct Prices {
    /// Name of the currency.
    pub currency: String,
    /// One crop plant.
    pub plant: Ranged,
    /// Share of the touched plants that is lost.
    pub touched_lost: Ranged,
    /// An hour of weeding by hand.
    pub labour_hour: Ranged,
    /// An hour in the field.
    pub machine_hour: Ranged,
}

/// One stage of the crop's growth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stage {
    /// Height of the plants, m.
    pub height_m: f64,
    /// Radius of the stem, m.
    pub stem_radius_m: f64,
    /// Radius that must stay untouched, m.
    pub protected_radius_m: f64,
}

/// Texture of the soil.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Texture {
    /// Clay.
    Fine,
    /// Loam.
    Medium,
    /// Sand.
    Coarse,
}

/// Kind of row-crop cultivator.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shank {
    /// Spring tines.
    STine,
    /// Curved shanks.
    CShank,
    /// One heavy sweep a row, for soil under residue.
    NoTill,
}

/// What the tools do to the soil.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Soil {
    /// How far beyond the edge of the tools soil was seen to fly, m.
    pub thrown_m: f64,
    /// Speed at which that was seen, m/s.
    pub thrown_at_m_s: f64,
    /// True if soil may reach the plants.
    pub may_cover: bool,
    /// Working depth, m.
    pub depth_m: f64,
    /// Texture.
    pub texture: Texture,
    /// Kind of cultivator.
    pub shank: Shank,
    /// Share of the axle's power that becomes pull.
    pub traction: f64,
    /// Rated power of the tractor at the power take-off, W.
    pub tractor_w: f64,
}

/// Tools on hand and where wheels run.
#[derive(Clone, Debug, PartialEq)]
pub struct Workshop {
    /// Cutting widths, m, rising.
    pub tool_widths_m: Vec<f64>,
    /// Least overlap of tools side by side, m.
    pub overlap_m: f64,
    /// How far beyond the outermost rows the tools work, m; `None`: half the way to the next row.
    pub outer_reach_m: Option<f64>,
}

/// All that a scenario says of it; a part that it does not give is `None`.
#[derive(Clone, Debug, PartialEq)]
pub struct Farm {
    /// Width of ground that one pass covers, m: the beds side by side, or the rows at their spacing.
    pub pass_width_m: f64,
    /// Land and time.
    pub land: Option<Land>,
    /// Weeds.
    pub weeds: Option<Weeds>,
    /// Prices.
    pub prices: Option<Prices>,
    /// Stages of growth, rising; empty if the scenario gives none.
    pub stages: Vec<Stage>,
    /// Soil.
    pub soil: Option<Soil>,
    /// Tools on hand.
    pub workshop: Option<Workshop>,
    /// What changes cost, by the name of the change.
    pub change_prices: Vec<(&'static str, f64)>,
    /// Distance between the centres of left and right tyres, m.
    pub track_m: f64,
    /// Width of a tyre, m.
    pub tyre_m: f64,
    /// Rows that the planter set in one pass; `None`: all of the implement's.
    pub planter_rows: Option<u64>,
    /// Inner diameter of the hoses to the side-shift's cylinder, m.
    pub hose_bore_m: f64,
    /// How many times the sideways load the cylinder must be able to push.
    pub force_reserve: f64,
}

/// Passes to one side that are looked at for rows under a tyre: no tyre reaches so far (our choice, no source).
const MOST_NEXT_PASSES: f64 = 1000.0;

impl Farm {
    /// No table given: a bed of 1.8 m, tyres 0.4 m wide and 1.8 m apart. For tests.
    #[cfg(test)]
    pub(crate) fn bare() -> Farm {
        Farm {
            pass_width_m: 1.8,
            land: None,
            weeds: None,
            prices: None,
            stages: Vec::new(),
            soil: None,
            workshop: None,
            change_prices: Vec::new(),
            track_m: 1.8,
            tyre_m: 0.4,
            planter_rows: None,
            hose_bore_m: 0.01,
            force_reserve: 2.0,
        }
    }

    /// What a change costs to buy or to do, in the scenario's currency.
    pub fn price_of(&self, change: &str) -> Option<f64> {
        let mut prices = self.change_prices.iter();
        prices
            .find(|(name, _)| *name == change)
            .map(|&(_, price)| price)
    }

    /// Distance from the outermost row to the first row of the next pass, m.
    pub fn next_row_m(&self, rows_m: &[f64]) -> f64 {
        let span_m = match rows_m {
            [first, .., last] => first - last,
            _ => 0.0,
        };
        self.pass_width_m - span_m
    }

    /// How far beyond the outermost rows the tools work, m.
    pub fn outer_reach_m(&self, rows_m: &[f64]) -> f64 {
        let given = self.workshop.as_ref().and_then(|shop| shop.outer_reach_m);
        // The next pass works the other half: nothing between them is left, nothing is worked twice.
        given.unwrap_or(self.next_row_m(rows_m) / 2.0)
    }

    /// Left and right edges of the left and of the right tyre, m, left positive.
    pub fn tyres_m(&self) -> [[f64; 2]; 2] {
        [self.track_m / 2.0, -self.track_m / 2.0]
            .map(|centre| [centre + self.tyre_m / 2.0, centre - self.tyre_m / 2.0])
    }

    /// Rows (0 at the left) with a tyre in the protected radius of their plants.
    pub fn rows_under_tyres(&self, rows_m: &[f64], protected_radius_m: f64) -> Vec<usize> {
        let near = |row: &usize| self.under_tyres(rows_m[*row], protected_radius_m);
        (0..rows_m.len()).filter(near).collect()
    }

    /// Rows of other passes with a tyre in the protected radius of their plants: distance from the implement's centre, m, left positive,
    /// leftmost first. The rows repeat at [`Farm::pass_width_m`], as many passes to either side as the tyres reach.
    pub fn next_rows_under_tyres(&self, rows_m: &[f64], protected_radius_m: f64) -> Vec<f64> {
        let (Some(first_m), Some(last_m)) = (rows_m.first(), rows_m.last()) else {
            return Vec::new();
        };
        let reach_m = self.track_m / 2.0 + self.tyre_m / 2.0 + protected_radius_m;
        // The k-th pass aside begins k widths less the outermost row's own offset away: it matters while that is within reach.
        let passes = (reach_m + first_m.max(-last_m)) / self.pass_width_m;
        // Asked for what is right, so that NaN ends here as well.
        if !(self.pass_width_m > 0.0 && passes < MOST_NEXT_PASSES) {
            return Vec::new();
        }
        let passes = passes.ceil() as i32;
        (1 - passes..=passes - 1)
            .rev()
            .filter(|pass| *pass != 0)
            .flat_map(|pass| {
                let aside_m = f64::from(pass) * self.pass_width_m;
                rows_m.iter().map(move |row_m| row_m + aside_m)
            })
            .filter(|row_m| self.under_tyres(*row_m, protected_radius_m))
            .collect()
    }

    fn under_tyres(&self, row_m: f64, protected_radius_m: f64) -> bool {
        self.tyres_m().iter().any(|[left, right]| {
            row_m < left + protected_radius_m && row_m > right - protected_radius_m
        })
    }

    /// True if implement and planter do not divide each other: guess rows then move under the implement from pass to pass.
    pub fn guess_rows_move(&self, rows: usize) -> bool {
        let rows = rows as u64;
        self.planter_rows
            // Where one divides the other, guess rows come under the same places of the implement in every pass.
            .is_some_and(|planter| !rows.is_multiple_of(planter) && !planter.is_multiple_of(rows))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Four rows 0.375 m apart.
    const ROWS_M: [f64; 4] = [0.5625, 0.1875, -0.1875, -0.5625];

    /// Own arithmetic: 1.8 m less three spaces of 0.375 m leave 0.675 m to the next pass's first row.
    #[test]
    fn analytic_the_way_to_the_next_row() {
        assert!((Farm::bare().next_row_m(&ROWS_M) - 0.675).abs() < 1e-12);
        assert!((Farm::bare().outer_reach_m(&ROWS_M) - 0.3375).abs() < 1e-12);
        assert_eq!(Farm::bare().next_row_m(&[0.0]), 1.8);
        let workshop = Some(Workshop {
            tool_widths_m: vec![0.1],
            overlap_m: 0.0,
            outer_reach_m: Some(0.2),
        });
        assert_eq!(
            Farm {
                workshop,
                ..Farm::bare()
            }
            .outer_reach_m(&ROWS_M),
            0.2
        );
    }

    /// Own arithmetic: the inner edge of a tyre stands at 0.7 m; a row at 0.5625 m with 0.1375 m around it just clears it.
    #[test]
    fn analytic_a_tyre_on_a_row() {
        assert!((Farm::bare().tyres_m()[0][1] - 0.7).abs() < 1e-12);
        assert!((Farm::bare().tyres_m()[1][1] + 1.1).abs() < 1e-12);
        assert!(Farm::bare().rows_under_tyres(&ROWS_M, 0.137).is_empty());
        assert_eq!(Farm::bare().rows_under_tyres(&ROWS_M, 0.138), [0, 3]);
        let narrow = Farm {
            track_m: 0.4,
            tyre_m: 0.1,
            ..Farm::bare()
        };
        assert_eq!(narrow.rows_under_tyres(&ROWS_M, 0.015), [1, 2]);
    }

    /// Own arithmetic: tyres 0.7 to 1.1 m on either side. Passes of 1.8 m put the next pass's nearest rows at 1.8 - 0.5625 = 1.2375 m,
    /// 0.1375 m outside the tyre. Two rows 0.5 m apart in passes of 1 m: at 0.75 m, not at 1.25 m. One row in passes of 0.45 m: at 0.9 m,
    /// the second pass aside.
    #[test]
    fn analytic_a_tyre_on_a_row_of_another_pass() {
        let under = |pass_width_m: f64, rows_m: &[f64], radius_m: f64| {
            let farm = Farm {
                pass_width_m,
                ..Farm::bare()
            };
            farm.next_rows_under_tyres(rows_m, radius_m)
        };
        assert!(under(1.8, &ROWS_M, 0.137).is_empty());
        assert_eq!(under(1.8, &ROWS_M, 0.138), [1.2375, -1.2375]);
        assert_eq!(under(1.0, &[0.25, -0.25], 0.03), [0.75, -0.75]);
        assert_eq!(under(0.45, &[0.0], 0.02), [0.9, -0.9]);
        assert!(under(0.0, &[0.0], 0.02).is_empty() && under(1.8, &[], 0.02).is_empty());
    }

    #[test]
    fn analytic_guess_rows_that_move() {
        let with = |planter_rows| Farm {
            planter_rows,
            ..Farm::bare()
        };
        assert!(with(Some(4)).guess_rows_move(6) && with(Some(9)).guess_rows_move(6));
        assert!(!with(Some(3)).guess_rows_move(6) && !with(Some(12)).guess_rows_move(6));
        assert!(!with(None).guess_rows_move(7));
    }
}
