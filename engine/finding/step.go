package finding

// Step is one line of the arithmetic that led to a finding, such that it can
// be checked with a pocket calculator: the inputs, the formula in words, the
// result and where the formula stands. The values are carried out of the
// computation; nothing is computed for the explanation.
//
// A formula names its inputs as they are named, joins them with " + ", " - ",
// " × " and " / " and parentheses, and may say "the greatest of (a, b)", "the
// least of (a, b)", "down to whole (a)", "up to whole (a)", "the power of (a, b)"
// (a to the power of b) and "the natural logarithm of (a)". The formulas
// Sum, Greatest and Least take all inputs. Everything else is words: a date
// rule, a comparison, a record read.
type Step struct {
	What    string   `json:"what"`
	Formula string   `json:"formula"`
	Inputs  []Figure `json:"inputs,omitempty"`
	Result  Figure   `json:"result"`
	Source  string   `json:"source"` // empty in a rule: the rule's own clause
}

// Formulas over all inputs of a step, and the ones that are no arithmetic.
const (
	Sum      = "all added up"
	Greatest = "the greatest of all"
	Least    = "the least of all"

	Recorded = "as recorded"               // nothing is computed: the record says so
	Missing  = "not recorded"              // and what is not known blocks
	Compared = "observed against limit"    // the result says which side of the limit
	Above    = "above"                     // From of a value that an earlier step gave
	MonthEnd = "date + months, month end"  // the last day of the month so many months later
	SameDay  = "date + months"             // the same day so many months later, the month's last where it has none
	DaysOn   = "date + days"               // so many days later
	Minutes  = "time + minutes"            // so many elapsed minutes later
	Earliest = "the earliest of all dates" // of the dates among the inputs
	Latest   = "the latest of all dates"
	WallStep = "up to the next wall-clock minute divisible by step"
	Needed   = "of each no more than is needed from there on"
)

// Called gives the figure another name, as a formula names it.
func (f Figure) Called(name string) Figure { f.Name = name; return f }

// At says where the value stands.
func (f Figure) At(from string) Figure { f.From = from; return f }

// Own says in whose own records the value stands.
func (f Figure) Own(person string) Figure { f.Of = person; return f }

// fine prints a figure with the digits that a difference needs.
func (f Figure) fine() Figure {
	if f.Number == nil {
		return f
	}
	f.Text = Decimal(*f.Number, 4)
	return f
}

// Given is the step that any finding carries that names no other: what was
// seen, the limit and the shortfall, as they stand in the finding, with the
// places they were read from.
func (f *Finding) Given(observedAt, limitAt string) Step {
	s := Step{What: "what the record says", Formula: Recorded}
	put := func(x *Figure, name, at string) {
		if x != nil {
			s.Inputs = append(s.Inputs, x.Called(name).At(at))
		}
	}
	put(f.Observed, "observed", observedAt)
	put(f.Limit, "limit", limitAt)
	numbers := f.Observed != nil && f.Observed.Number != nil && f.Limit != nil && f.Limit.Number != nil
	switch {
	case f.Status == Indeterminate && f.Limit == nil:
		s.What, s.Formula = "what is not known", Missing
		s.Result = Word("", "blocks")
	case numbers && f.Shortfall != nil && f.Shortfall.Number != nil:
		s.What, s.Formula = "how far from the limit", "observed - limit"
		for i := range s.Inputs {
			s.Inputs[i] = s.Inputs[i].fine()
		}
		if *f.Observed.Number < *f.Limit.Number {
			s.Formula = "limit - observed"
		}
		s.Result = f.Shortfall.Called("short by")
	case numbers:
		s.What, s.Formula = "compared with the limit", Compared
		s.Result = Word("", "at the limit")
		if *f.Observed.Number < *f.Limit.Number {
			s.Result = Word("", "below the limit")
		} else if *f.Observed.Number > *f.Limit.Number {
			s.Result = Word("", "above the limit")
		}
	default:
		s.Result = Word("", string(f.Status))
		if len(s.Inputs) == 0 && observedAt != "" {
			s.Inputs = append(s.Inputs, Word("read", observedAt))
		}
	}
	return s
}
