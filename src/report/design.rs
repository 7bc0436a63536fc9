//! A search for machines: on a terminal, as JSON, as a table and as a picture.

use super::compare::NOT_A_PERMISSION;
use super::csv::{table, text};
use super::display::{Units, chosen_percent, controller_in_words, fixed, grouped, money, percent};
use super::svg::front::Front;
use super::text::{WIDTH, aligned, wrapped};
use super::words::farms::farms;
use super::words::quantities::listed;
use super::words::{capital, scenario_and_file};
use super::{File, ReportError, bounds, changes};
use crate::results::answers::{Edge, Limited};
use crate::results::design::{AssuredSpeed, Counted, Design, DesignMachine, OptionName, PartName};
use crate::results::finite::first_not_finite;

/// Name of the picture's file.
pub const PICTURE: &str = "design.svg";

/// The search as JSON, SI units.
///
/// # Errors
///
/// A number that is not finite.
pub fn design_json(design: &Design) -> Result<String, ReportError> {
    if let Some(key) = first_not_finite(design) {
        return Err(ReportError::NotFinite { key });
    }
    Ok(serde_json::to_string_pretty(design)? + "\n")
}

/// Table and picture.
pub fn design_files(design: &Design) -> Vec<File> {
    vec![
        File::new("design.csv", design_csv(design)),
        File::new(PICTURE, Front::of(design).picture().standalone()),
    ]
}

/// One line for each machine: the one that stands there, then the front.
pub fn design_csv(design: &Design) -> String {
    let header = "machine,cost,changed,controller,speed_m_s,speed_m_s.lower,speed_m_s.upper,edge,chosen_speed_m_s,gain_m_s,gain_m_s.lower,gain_m_s.upper,step_gain_m_s,step_gain_m_s.lower,step_gain_m_s.upper,unbeaten";
    let own = std::iter::once(("own", &design.own));
    let front = design.front.iter().map(|machine| ("front", machine));
    let line = |(which, machine): (&str, &DesignMachine)| {
        let numbers = |of: Option<Limited>| match of {
            Some(of) => [of.value, of.lower, of.upper].map(|value| value.to_string()),
            None => [const { String::new() }; 3],
        };
        let mut line = vec![
            which.to_owned(),
            machine.cost.to_string(),
            text(&names(design, machine).join(" + ")),
            text(machine.controller.name()),
        ];
        line.extend(numbers(Some(machine.fresh.speed_m_s)));
        let edge = match machine.fresh.edge {
            Edge::Within => "within",
            Edge::NoneKeeps => "none_keeps",
            Edge::AllKeep => "all_keep",
        };
        line.push(edge.to_owned());
        line.push(machine.chosen.speed_m_s.value.to_string());
        line.extend(numbers(Some(machine.gain_m_s)));
        line.extend(numbers(machine.step_gain_m_s));
        line.push(machine.unbeaten.to_string());
        line
    };
    table(header, own.chain(front).map(line))
}

/// The names of what is changed.
pub fn names(design: &Design, machine: &DesignMachine) -> Vec<String> {
    let units = design.scenario.units;
    let changed = machine.changed.iter().filter_map(|&[part, option]| {
        let part = design.parts.get(part as usize)?;
        let option = part.options.get(option as usize)?;
        let name = option_name(&option.name, units);
        Some(match &part.part {
            PartName::Offered(part) => format!("{part}: {name}"),
            _ => name,
        })
    });
    changed.collect()
}

fn option_name(name: &OptionName, units: Units) -> String {
    match name {
        OptionName::Offered(name) => name.clone(),
        OptionName::Change(change) => changes::change(*change, units).to_owned(),
    }
}

/// "1 800 EUR", "2 parts".
pub fn cost(design: &Design, cost: f64) -> String {
    match &design.counted {
        Counted::Prices => {
            let currency = design.currency.as_deref();
            let currency = currency.map_or(String::new(), |name| format!(" {name}"));
            format!("{}{currency}", amount(cost))
        }
        Counted::Parts if cost == 1.0 => "1 part".to_owned(),
        Counted::Parts => format!("{} parts", fixed(cost, 0)),
    }
}

/// A price without decimals where it has none.
fn amount(cost: f64) -> String {
    if cost.fract() == 0.0 {
        grouped(cost as u64)
    } else {
        money(cost)
    }
}

/// Over what the front runs: "price, EUR", "parts changed".
pub fn cost_title(design: &Design) -> String {
    match (design.counted, &design.currency) {
        (Counted::Prices, Some(name)) => format!("price, {name}"),
        (Counted::Prices, None) => "price".into(),
        (Counted::Parts, _) => "parts changed".into(),
    }
}

/// What an assured speed is: "speed kept on 4 farms in 5".
pub fn speed_title(design: &Design) -> String {
    match design.assurance {
        Some(assurance) => format!("speed kept on {}", farms(assurance)),
        None => "highest speed kept".into(),
    }
}

/// The search in plain words, the answer first.
pub fn design_text(design: &Design) -> String {
    let mut out = String::new();
    for paragraph in [opening(design), answer(design)] {
        out.push_str(&wrapped(&paragraph, WIDTH));
        out.push('\n');
    }
    if let Some(limit) = field(design) {
        out.push_str(&wrapped(&limit, WIDTH));
        out.push('\n');
    }
    let heading = format!(
        "Machines that no other beats on both, cheapest first; {} on fresh passes with {} limits, and the gain over the machine as it stands:",
        speed_title(design),
        chosen_percent(design.level),
    );
    out.push_str(&wrapped(&heading, WIDTH));
    out.push('\n');
    out.push_str(&aligned(&rows(design)));
    for (number, machine) in design.front.iter().enumerate() {
        let line = format!("{}: {}", number + 1, what(design, machine));
        out.push_str(&wrapped(&line, WIDTH));
    }
    out.push('\n');
    out.push_str(&wrapped(&method(design), WIDTH));
    out
}

fn opening(design: &Design) -> String {
    let cost = match design.counted {
        Counted::Prices => "price",
        Counted::Parts => "the number of parts changed",
    };
    format!(
        "{}: which machine for the money? {} against {} with the tools {} from the row; allowed: {} of the plants cut.",
        scenario_and_file(&design.scenario),
        capital(&speed_title(design)),
        cost,
        design.scenario.units.clearance(design.clearance_m),
        percent(design.allowed_cut_rate),
    )
}

fn what(design: &Design, machine: &DesignMachine) -> String {
    let names = names(design, machine);
    let changed = if names.is_empty() {
        "the machine as it stands".to_owned()
    } else {
        names.join("; ")
    };
    format!("{changed} ({})", controller_in_words(machine.controller))
}

/// "6.3 km/h", "at least 16 km/h", "less than 4 km/h".
fn speed(assured: &AssuredSpeed, units: Units) -> String {
    let beyond = match assured.edge {
        Edge::Within => "",
        Edge::NoneKeeps => "less than ",
        Edge::AllKeep => "at least ",
    };
    let number = fixed(units.speed(assured.speed_m_s.value), 1);
    format!("{beyond}{number} {}", units.speed_unit())
}

fn answer(design: &Design) -> String {
    let units = design.scenario.units;
    let free = design.front.iter().rfind(|machine| machine.cost <= 0.0);
    let free_words = free
        .filter(|machine| !machine.changed.is_empty())
        .map(|machine| {
            format!(
                "For nothing: {} ({} instead of {}). ",
                listed(&names(design, machine)),
                speed(&machine.fresh, units),
                speed(&design.own.fresh, units),
            )
        });
    let first = design
        .first
        .and_then(|place| design.front.get(place as usize));
    let mut all = design.front.iter();
    let none_keeps = all.all(|machine| machine.fresh.edge == Edge::NoneKeeps);
    let buy = match first {
        Some(machine) => format!(
            "First {}: {} for {}. It keeps {} instead of {} as the machine stands: {} {} gained ({} to {}).",
            match design.counted {
                Counted::Prices => "buy",
                Counted::Parts => "change",
            },
            listed(&names(design, machine)),
            cost(design, machine.cost),
            speed(&machine.fresh, units),
            speed(&design.own.fresh, units),
            units.speed_gain(machine.gain_m_s.value),
            units.speed_unit(),
            units.speed_gain(machine.gain_m_s.lower),
            units.speed_gain(machine.gain_m_s.upper),
        ),
        None if none_keeps => format!(
            "Not even {} is kept by any of them.",
            units.speed_text(design.speeds_m_s[0])
        ),
        None => "Nothing that costs anything surely gains usable speed here; more passes tell smaller gains (--passes).".to_owned(),
    };
    format!("{}{buy}", free_words.unwrap_or_default())
}

fn field(design: &Design) -> Option<String> {
    let limit = design.field_limit?;
    let units = design.scenario.units;
    let beyond = design
        .front
        .iter()
        .filter(|machine| machine.fresh.speed_m_s.value > limit.speed_m_s);
    (beyond.count() > 0).then(|| {
        format!(
            "Whatever the machine, {} allows no more than {} {} here: speed kept beyond it is room to spare, not speed.",
            bounds::name(limit.cause),
            units.speed_limit(limit.speed_m_s),
            units.speed_unit(),
        )
    })
}

fn rows(design: &Design) -> Vec<Vec<String>> {
    let units = design.scenario.units;
    let mut rows = vec![vec![
        String::new(),
        cost_title(design),
        format!("speed kept, {}", units.speed_unit()),
        "where chosen".to_owned(),
        format!("gain, {}", units.speed_unit()),
        "not beaten".to_owned(),
    ]];
    let row = |name: String, machine: &DesignMachine, is_own: bool| {
        let number = |m_s: f64| fixed(units.speed(m_s), 1);
        let with_limits = |assured: &AssuredSpeed| {
            let beyond = match assured.edge {
                Edge::Within => "",
                Edge::NoneKeeps => "< ",
                Edge::AllKeep => ">= ",
            };
            let of = assured.speed_m_s;
            let [value, lower, upper] = [of.value, of.lower, of.upper].map(number);
            format!("{beyond}{value} ({lower} to {upper})")
        };
        let gain = machine.gain_m_s;
        let [value, lower, upper] =
            [gain.value, gain.lower, gain.upper].map(|m_s| units.speed_gain(m_s));
        vec![
            name,
            match design.counted {
                Counted::Prices => amount(machine.cost),
                Counted::Parts => fixed(machine.cost, 0),
            },
            with_limits(&machine.fresh),
            number(machine.chosen.speed_m_s.value),
            if is_own {
                "-".to_owned()
            } else {
                format!("{value} ({lower} to {upper})")
            },
            format!("{} %", fixed(100.0 * machine.unbeaten, 0)),
        ]
    };
    let has_own = design
        .front
        .iter()
        .any(|machine| machine.changed.is_empty());
    if !has_own {
        rows.push(row("as it stands".into(), &design.own, true));
    }
    let front = design.front.iter().enumerate();
    rows.extend(
        front.map(|(place, machine)| {
            row((place + 1).to_string(), machine, machine.changed.is_empty())
        }),
    );
    rows
}

fn method(design: &Design) -> String {
    let units = design.scenario.units;
    let tried = if design.simulated == design.possible {
        format!("All {} machines", grouped(design.possible))
    } else {
        format!(
            "Of {} machines {}, found by local search,",
            grouped(design.possible),
            grouped(design.simulated)
        )
    };
    let impossible = match design.impossible {
        0 => String::new(),
        count => format!(" ({} of them cannot be)", grouped(count)),
    };
    let own_m_s = design.own.chosen.speed_m_s.value;
    let others: Vec<&DesignMachine> = (design.front.iter())
        .filter(|machine| !machine.changed.is_empty())
        .collect();
    let mean = |of: &dyn Fn(&DesignMachine) -> f64| {
        let sum: f64 = others.iter().map(|machine| of(machine)).sum();
        fixed(units.speed(sum / others.len().max(1) as f64), 2)
    };
    let chosen = mean(&|machine| machine.chosen.speed_m_s.value - own_m_s);
    let fresh = mean(&|machine| machine.gain_m_s.value);
    let flattered = match others.len() {
        0 => String::new(),
        _ => format!(
            " Who is chosen on some passes did well on just these: there the machines of the front gain {chosen} {} on average, on the \
             fresh ones {fresh}.",
            units.speed_unit(),
        ),
    };
    let assumed = design
        .parts
        .iter()
        .flat_map(|part| &part.options)
        .any(|option| option.assumed);
    let mut told = format!(
        "{tried}{impossible} were simulated on {} passes, {} on {}, where the front was chosen, and those still in the race on {} fresh passes.{flattered} Not beaten: the share of resamples \
         of the fresh passes in which no machine that costs no more is as fast. A machine left out on the way was unbeaten in at most {} of its \
         resamples. A step of less than {} {} counts as none. All machines meet the same passes, seed {}.",
        grouped(design.searched_passes),
        grouped(design.contenders),
        grouped(design.chosen_passes),
        grouped(design.fresh_passes),
        percent(design.left_out_unbeaten),
        fixed(units.speed(design.step_m_s), 1),
        units.speed_unit(),
        design.seed,
    );
    if let Counted::Parts = design.counted {
        told.push_str(
            " The scenario has no prices, so parts are counted: give them in [[offers]] or [change_prices].",
        );
    }
    if assumed {
        told.push_str(
            " Moving the camera is taken to cost nothing (assumed; look_further and look_nearer in [change_prices] say otherwise).",
        );
    }
    if !design.without_price.is_empty() {
        let names: Vec<String> = (design.without_price.iter())
            .map(|name| option_name(name, units))
            .collect();
        told.push_str(&format!(" Left out, without a price: {}.", listed(&names)));
    }
    format!("{told} {NOT_A_PERMISSION}")
}
