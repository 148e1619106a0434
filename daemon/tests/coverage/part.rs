//! The truth of a simulated probe: a maker's published table, read between its rows without any of the
//! curves that are fitted to it.

/// A thermistor as its maker's table has it.
pub struct Part {
    /// In words.
    #[allow(dead_code, reason = "the bench shows it")]
    pub name: &'static str,
    /// Beta on its label, K.
    pub beta: f64,
    /// Resistance on its label, ohm; the divider's resistor is the same.
    pub label: f64,
    /// Cel and the natural logarithm of ohm.
    rows: Vec<(f64, f64)>,
}

/// The four parts with a table beside the thermistor driver; the source stands in each file.
pub fn published() -> [Part; 4] {
    macro_rules! table {
        ($name:literal) => {
            include_str!(concat!(
                "../../../sensors/thermistor/tests/published/",
                $name
            ))
        };
    }
    let part = |name, (label, beta), (table, column, unit)| Part {
        name,
        beta,
        label,
        rows: rows(table, column, unit),
    };
    [
        part(
            "3950 K",
            (1e4, 3950.0),
            (table!("ntc_10k_b3950_rt.csv"), 1, 1e3),
        ),
        part(
            "4250 K",
            (1e5, 4250.0),
            (table!("ntc_100k_wf104_rt.csv"), 1, 1.0),
        ),
        // The printed ohms have four digits; those of the maker's formula have all.
        part(
            "3977 K",
            (1e4, 3977.0),
            (table!("ntc_10k_vishay_3977_rt.csv"), 2, 1.0),
        ),
        // B25/85 of its own table.
        part(
            "curve 3",
            (1e4, 3979.0),
            (table!("ntc_10k_curve3_rt.csv"), 1, 1.0),
        ),
    ]
}

fn rows(table: &str, column: usize, unit: f64) -> Vec<(f64, f64)> {
    let lines = table.lines().filter(|line| !line.starts_with('#')).skip(1);
    let row = |line: &str| {
        let cells = line.split(',').map(|cell| cell.parse::<f64>().ok());
        let cells: Vec<Option<f64>> = cells.collect();
        cells[0].zip(cells[column].map(|ohm| (unit * ohm).ln()))
    };
    let rows: Vec<(f64, f64)> = lines.filter_map(row).collect();
    assert!(rows.len() > 14, "the table is there");
    rows
}

impl Part {
    /// Ohm at a temperature, by the cubic through the four rows around it (Lagrange): for rows 5 K
    /// apart it misses a thermistor's curve by some 10⁻⁵ K.
    pub fn ohm(&self, celsius: f64) -> f64 {
        let above = self.rows.partition_point(|(at, _)| *at < celsius);
        let first = above.saturating_sub(2).min(self.rows.len() - 4);
        let near = &self.rows[first..first + 4];
        let weighted = near.iter().map(|(at, log)| {
            let others = near.iter().filter(|(other, _)| other != at);
            log * others
                .map(|(other, _)| (celsius - other) / (at - other))
                .product::<f64>()
        });
        weighted.sum::<f64>().exp()
    }
}
