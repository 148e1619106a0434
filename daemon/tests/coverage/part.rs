//! The truth of a simulated probe: a maker's published table, read between its rows without any of the
//! curves that are fitted to it.

/// A thermistor as its maker's table has it.
pub struct Part {
    /// Cel and the natural logarithm of ohm.
    rows: Vec<(f64, f64)>,
}

impl Part {
    /// NTC of 10 kOhm, B25/85 = 3977 K; the source stands in the file.
    pub fn published() -> Self {
        let table = include_str!("../published/ntc_10k_vishay_3977_rt.csv");
        let rows = table.lines().filter(|line| !line.starts_with('#')).skip(1);
        let number = |cell: Option<&str>| cell.and_then(|cell| cell.parse::<f64>().ok());
        let row = |line: &str| {
            let mut cells = line.split(',');
            let celsius = number(cells.next());
            // The printed ohms have four digits; those of the maker's formula have all.
            celsius.zip(number(cells.nth(1)).map(f64::ln))
        };
        let rows: Vec<(f64, f64)> = rows.filter_map(row).collect();
        assert!(rows.len() > 30, "the table is there");
        Self { rows }
    }

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
