package calendar

import "strings"

// Form is the order of the numbers in a typed date, as the file declares it.
type Form string

// The forms a file can declare.
const (
	FormISO Form = "ISO" // year-month-day; always read, whatever is declared
	FormDMY Form = "DMY"
	FormMDY Form = "MDY"
	FormYMD Form = "YMD"
	FormMY  Form = "MY"
	FormYM  Form = "YM"
)

// Use is what a typed date is for.
type Use string

// The uses of a typed date; only a mark may lack its day or its century.
const (
	UseMark   Use = "mark" // stamped on an item: service, test, manufacture
	UseIssue  Use = "issue"
	UseBirth  Use = "birth"
	UseExam   Use = "exam"
	UseExpiry Use = "expiry" // may lie in the future
)

// Refusal is why something typed is not read; empty when it is.
type Refusal string

// Why a date or a time is refused.
const (
	FormNotDeclared     Refusal = "form_not_declared"
	YearMissing         Refusal = "year_missing"
	MonthMissing        Refusal = "month_missing"
	DayMissing          Refusal = "day_missing"
	TwoDigitYear        Refusal = "two_digit_year"
	NoSuchDate          Refusal = "no_such_date" // also years before TypedRules.EarliestYear
	Future              Refusal = "future"
	BeforeManufacture   Refusal = "before_manufacture"
	NoSuchTime          Refusal = "no_such_time"
	AmbiguousTime       Refusal = "ambiguous_time"
	OffsetNotOfThisZone Refusal = "offset_not_of_this_zone"
	FittedBeforeMade    Refusal = "fitted_before_manufacture"
)

// TypedRules are the club's bounds for typed dates.
type TypedRules struct {
	EarliestYear         int `json:"earliest_year"`           // 1900: earlier years are refused
	EarliestTwoDigitYear int `json:"earliest_two_digit_year"` // 1950: no mark is older
}

// TypedDate is a date as somebody typed it.
type TypedDate struct {
	Text  string     `json:"text"`
	Form  Form       `json:"form"`
	Use   Use        `json:"use"`
	Today Day        `json:"today"` // in the zone of the place named on the record
	Made  Mark       `json:"made"`  // manufacture of the item the mark is on, if known
	Rules TypedRules `json:"rules"`
}

// ReadDate is what was read: a date, or why not.
type ReadDate struct {
	Date    Mark    `json:"date,omitzero"`
	Echo    bool    `json:"echo"` // show what was read and have it confirmed
	Refused Refusal `json:"refused,omitempty"`
}

// ReadTypedDate reads a typed date by T6 and T8: nothing is guessed, completed or moved.
func ReadTypedDate(in TypedDate) ReadDate {
	y, m, d, two, refused := splitDate(strings.TrimSpace(in.Text), in.Form)
	if refused != "" {
		return ReadDate{Refused: refused}
	}
	if m < 1 || m > 12 || d == 0 {
		return ReadDate{Refused: NoSuchDate}
	}
	hasDay := d > 0
	if !hasDay {
		if in.Use != UseMark {
			return ReadDate{Refused: DayMissing}
		}
		d = 0
	}
	if two {
		if in.Use != UseMark {
			return ReadDate{Refused: TwoDigitYear}
		}
		if y = in.century(y, m, d); y == 0 {
			return ReadDate{Refused: TwoDigitYear}
		}
	}
	date, err := NewMark(y, m, d)
	if err != nil || y < in.Rules.EarliestYear {
		return ReadDate{Refused: NoSuchDate}
	}
	switch {
	case in.Use != UseExpiry && date.CompareCoarse(in.Today.Mark()) > 0:
		return ReadDate{Refused: Future}
	case in.Use == UseMark && !in.Made.IsZero() && date.CompareCoarse(in.Made) < 0:
		return ReadDate{Refused: BeforeManufacture}
	}
	return ReadDate{Date: date, Echo: two}
}

// century completes a two-digit year to the single year that a mark can bear, or 0.
func (in TypedDate) century(yy, m, d int) int {
	found := 0
	for _, y := range []int{1900 + yy, 2000 + yy} {
		c := Mark{y, m, d}
		if y < in.Rules.EarliestTwoDigitYear || c.CompareCoarse(in.Today.Mark()) > 0 ||
			!in.Made.IsZero() && c.CompareCoarse(in.Made) < 0 {
			continue
		}
		if found != 0 {
			return 0
		}
		found = y
	}
	return found
}

// splitDate takes the text apart. d is -1 where the form has no day; two
// reports a year of two digits.
func splitDate(text string, form Form) (y, m, d int, two bool, refused Refusal) {
	if mark, ok := isoShape(text); ok {
		return mark[0], mark[1], mark[2], false, ""
	}
	groups, ok := numberGroups(text)
	if !ok {
		return 0, 0, 0, false, FormNotDeclared
	}
	switch len(groups) {
	case 1:
		return 0, 0, 0, false, MonthMissing
	case 2:
		if form != FormMY && form != FormYM && len(groups[0]) <= 2 && len(groups[1]) <= 2 {
			return 0, 0, 0, false, YearMissing
		}
	}
	order, d := string(form), -1
	if form == FormISO || len(order) != len(groups) {
		return 0, 0, 0, false, FormNotDeclared
	}
	for i, g := range groups {
		n, _ := digits(g)
		switch {
		case order[i] == 'Y' && (len(g) == 2 || len(g) == 4):
			y, two = n, len(g) == 2
		case order[i] == 'M' && len(g) <= 2:
			m = n
		case order[i] == 'D' && len(g) <= 2:
			d = n
		default:
			return 0, 0, 0, false, FormNotDeclared
		}
	}
	return y, m, d, two, ""
}

// isoShape recognises YYYY-MM-DD and YYYY-MM, whether or not they exist.
func isoShape(text string) ([3]int, bool) {
	if len(text) != 7 && len(text) != 10 || text[4] != '-' || len(text) == 10 && text[7] != '-' {
		return [3]int{}, false
	}
	y, okY := digits(text[:4])
	m, okM := digits(text[5:7])
	d, okD := -1, true
	if len(text) == 10 {
		d, okD = digits(text[8:])
	}
	return [3]int{y, m, d}, okY && okM && okD
}

// numberGroups splits at one kind of separator; one may trail ("04.03.").
func numberGroups(text string) ([]string, bool) {
	at := strings.IndexAny(text, "./- ")
	if at < 0 {
		_, ok := digits(text)
		return []string{text}, ok
	}
	groups := strings.Split(strings.TrimSuffix(text, text[at:at+1]), text[at:at+1])
	for _, g := range groups {
		if _, ok := digits(g); !ok {
			return nil, false
		}
	}
	return groups, len(groups) <= 3
}

// InOrder reports that second is not before first, compared at the coarser of
// the two grains (T8): a first service or fitting against the manufacture.
func InOrder(first, second Mark) bool { return second.CompareCoarse(first) >= 0 }

// ReadTime is an instant read from a wall-clock time, or why not.
type ReadTime struct {
	UTC     Instant `json:"utc,omitzero"`
	Refused Refusal `json:"refused,omitempty"`
	Offsets []int   `json:"offsets,omitempty"` // for AmbiguousTime: the offsets to choose from, in order of time
}

// ReadTypedTime reads a wall-clock time of a zone by T7. offset is ±HH:MM, or
// empty when none was typed. The error is for a time the zone value does not cover.
func ReadTypedTime(wall, offset string, zone Zone) (ReadTime, error) {
	wall = strings.TrimSpace(wall)
	w, err := ParseWall(wall)
	if err != nil {
		if len(wall) == 16 {
			if _, dayErr := ParseDay(wall[:10]); dayErr != nil {
				return ReadTime{Refused: NoSuchDate}, nil
			}
		}
		return ReadTime{Refused: NoSuchTime}, nil
	}
	shown, err := zone.Readings(w)
	if err != nil {
		return ReadTime{}, err
	}
	if offset != "" {
		off, err := ParseOffset(offset)
		if err == nil {
			for _, t := range shown {
				if t == w.at(off) {
					return ReadTime{UTC: t}, nil
				}
			}
		}
		return ReadTime{Refused: OffsetNotOfThisZone}, nil
	}
	switch len(shown) {
	case 0:
		return ReadTime{Refused: NoSuchTime}, nil
	case 1:
		return ReadTime{UTC: shown[0]}, nil
	}
	out := ReadTime{Refused: AmbiguousTime}
	for _, t := range shown {
		off, err := zone.Offset(t)
		if err != nil {
			return ReadTime{}, err
		}
		out.Offsets = append(out.Offsets, off)
	}
	return out, nil
}
