//! A table that was checked once, with safe calls.

mod fit;
mod output;

use crate::host::{Binding, Flaw, Output, Parameter, read, version};
use crate::pairs::{self, Pair};
use crate::table::{
    CheckFn, EvaluateFn, EvaluateOutputFn, GuessFn, Head, MisfitFn, RangeFn, Table, Text,
};
use crate::{Electrical, MAJOR, Monotonic, Status};

/// A checked table: its texts are UTF-8, its counts credible, its functions there.
#[derive(Debug)]
pub struct View {
    address: usize,
    version: (u32, u32),
    name: &'static str,
    summary: &'static str,
    quantity: Option<&'static str>,
    unit: Option<&'static str>,
    inputs: Vec<Electrical>,
    parameters: Vec<Parameter>,
    curve: Curve,
    slope: Option<EvaluateFn>,
    check: Option<CheckFn>,
    guess: Option<GuessFn>,
    misfit: Option<MisfitFn>,
    outputs: Vec<Output>,
    evaluate_output: Option<EvaluateOutputFn>,
    monotonic: Monotonic,
}

/// What gives the values.
#[derive(Clone, Copy, Debug)]
enum Curve {
    /// Functions: the values, and the inputs for which there are some.
    Formula(EvaluateFn, RangeFn),
    /// A fixed table.
    Pairs(&'static [Pair]),
}

impl Curve {
    /// # Safety
    /// As [`View::from_raw`], for the table that `table` is a copy of.
    unsafe fn of(table: &Table) -> Result<Self, Flaw> {
        // SAFETY: the caller vouches for everything that the table points to.
        if let Some(pairs) = unsafe { read::pairs(table) }? {
            return Ok(Self::Pairs(pairs));
        }
        let evaluate = table.evaluate.ok_or(Flaw::Function("evaluate"))?;
        Ok(Self::Formula(
            evaluate,
            table.range.ok_or(Flaw::Function("range"))?,
        ))
    }
}

impl View {
    /// A view of a linked-in table.
    ///
    /// # Errors
    /// What is wrong with the table, e.g. an empty name or a default outside its bounds.
    pub fn new(table: &'static Table) -> Result<Self, Flaw> {
        // SAFETY: safe code gets a table from `Table::of` only, which points to constants of the
        // driver and to functions made here.
        unsafe { Self::from_raw(table) }
    }

    /// A view of a table in a loaded library.
    ///
    /// # Errors
    /// What is wrong with the table: wrong version, null pointers, texts that are no UTF-8.
    ///
    /// # Safety
    /// The pointer is null, or points to a table as its head says, in a library that is never
    /// unloaded; its functions keep the contract of `table.rs`, from any thread.
    pub unsafe fn from_raw(table: *const Table) -> Result<Self, Flaw> {
        // SAFETY: the caller vouches that a head stands there, which every version has.
        let head = unsafe { table.cast::<Head>().as_ref() }.ok_or(Flaw::NoTable)?;
        if head.major != MAJOR {
            return Err(Flaw::Version {
                major: head.major,
                minor: head.minor,
            });
        }
        // SAFETY: not null, of our major version, and the caller vouches for its size.
        let known = unsafe { version::read(table, head.size as usize) }.ok_or(Flaw::Size)?;
        // SAFETY: as above.
        unsafe { Self::of(&known, table.addr()) }
    }

    /// # Safety
    /// As [`View::from_raw`], for the table that `table` is a copy of.
    unsafe fn of(table: &Table, address: usize) -> Result<Self, Flaw> {
        // SAFETY: the caller vouches for everything that the table points to.
        unsafe {
            Ok(Self {
                address,
                version: (table.major, table.minor),
                name: read::required(table.name, "name")?,
                summary: read::required(table.summary, "summary")?,
                quantity: read::text(table.quantity, "quantity")?,
                unit: read::text(table.unit, "unit")?,
                inputs: read::inputs(table)?,
                parameters: read::parameters(table)?,
                curve: Curve::of(table)?,
                slope: table.slope,
                check: table.check,
                guess: table.guess,
                misfit: table.misfit,
                outputs: read::outputs(table)?,
                evaluate_output: table.evaluate_output,
                monotonic: read::monotonic(table)?,
            })
        }
    }

    /// Where the table stands: two libraries may carry drivers of one name.
    #[must_use]
    pub fn address(&self) -> usize {
        self.address
    }

    /// Version of the interface that the driver was built against, major and minor.
    #[must_use]
    pub fn version(&self) -> (u32, u32) {
        self.version
    }

    /// The driver's name.
    #[must_use]
    pub fn name(&self) -> &'static str {
        self.name
    }

    /// One line for a person.
    #[must_use]
    pub fn summary(&self) -> &'static str {
        self.summary
    }

    /// What it measures; `None` where the configuration says.
    #[must_use]
    pub fn quantity(&self) -> Option<&'static str> {
        self.quantity
    }

    /// UCUM code of the value's unit; `None` where the configuration says.
    #[must_use]
    pub fn unit(&self) -> Option<&'static str> {
        self.unit
    }

    /// The electrical quantities it takes, the preferred one first.
    #[must_use]
    pub fn inputs(&self) -> &[Electrical] {
        &self.inputs
    }

    /// The parameters in the driver's order.
    #[must_use]
    pub fn parameters(&self) -> &[Parameter] {
        &self.parameters
    }

    /// Whether the driver has a formula for the slope; fixed pairs have that of their lines.
    #[must_use]
    pub fn has_slope(&self) -> bool {
        self.slope.is_some() || matches!(self.curve, Curve::Pairs(_))
    }

    /// Values of inputs, one each. What the driver does not write stays as it was.
    ///
    /// # Errors
    /// `OUT_OF_RANGE` where at least one input has no value (it is NaN then, the others are good);
    /// `WRONG_CALL` where the lengths differ; else whatever the driver answered.
    pub fn evaluate(
        &self,
        binding: &Binding,
        inputs: &[f64],
        values: &mut [f64],
    ) -> Result<(), Status> {
        self.evaluate_with(binding, &[], inputs, values)
    }

    /// Slopes, value over input, at inputs.
    ///
    /// # Errors
    /// As [`View::evaluate`]; `WRONG_CALL` also where there is no [formula](View::has_slope).
    pub fn slope(
        &self,
        binding: &Binding,
        inputs: &[f64],
        slopes: &mut [f64],
    ) -> Result<(), Status> {
        self.slope_with(binding, &[], inputs, slopes)
    }

    /// Lowest and highest input that can be turned into a value.
    ///
    /// # Errors
    /// `PARAMETERS` where there is none; else whatever the driver answered.
    pub fn range(&self, binding: &Binding) -> Result<(f64, f64), Status> {
        self.counted(binding)?;
        let (mut lowest, mut highest) = (f64::NAN, f64::NAN);
        let slices = binding.slices();
        let range = match self.curve {
            Curve::Formula(_, range) => range,
            Curve::Pairs(pairs) => return pairs::range(pairs).ok_or(Status::PARAMETERS),
        };
        // SAFETY: as many slices as declared, and two places of our own.
        let code = unsafe { range(slices.as_ptr(), slices.len(), &mut lowest, &mut highest) };
        Status(code).done().map(|()| (lowest, highest))
    }

    /// What is wrong with these parameters, in the driver's words; `None` where nothing is.
    ///
    /// # Errors
    /// Whatever the driver answered where it neither agreed nor named what is wrong.
    pub fn check(&self, binding: &Binding) -> Result<Option<&'static str>, Status> {
        self.counted(binding)?;
        let Some(check) = self.check else {
            return Ok(None);
        };
        let mut text = Text::NONE;
        let slices = binding.slices();
        // SAFETY: as many slices as declared, and a place of our own.
        let status = Status(unsafe { check(slices.as_ptr(), slices.len(), &mut text) });
        if status != Status::PARAMETERS {
            return status.done().map(|()| None);
        }
        // SAFETY: the driver's texts live as long as its library.
        unsafe { read::required(text, "text of a check") }
            .map(Some)
            .map_err(|_| status)
    }

    fn counted(&self, binding: &Binding) -> Result<(), Status> {
        let right = binding.slices().len() == self.parameters.len();
        if right {
            Ok(())
        } else {
            Err(Status::WRONG_CALL)
        }
    }
}
