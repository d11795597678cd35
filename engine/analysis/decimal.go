package analysis

import (
	"fmt"
	"strconv"
	"strings"
)

// Decimal is a number as somebody typed it, exact to a millionth. Equality at a
// tolerance decides verdicts, and binary fractions would miss it.
type Decimal struct{ millionths int64 }

const million = 1_000_000

// ParseDecimal reads up to six digits before and after the point; no exponent.
func ParseDecimal(text string) (Decimal, error) {
	body, negative := strings.CutPrefix(text, "-")
	whole, part, _ := strings.Cut(body, ".")
	if len(whole) == 0 || len(whole) > 6 || len(part) > 6 || strings.HasSuffix(body, ".") {
		return Decimal{}, fmt.Errorf("not a decimal number: %q", text)
	}
	n, err := strconv.ParseUint(whole+part+strings.Repeat("0", 6-len(part)), 10, 63)
	if err != nil {
		return Decimal{}, fmt.Errorf("not a decimal number: %q", text)
	}
	if negative {
		return Decimal{-int64(n)}, nil
	}
	return Decimal{int64(n)}, nil
}

// FromFloat takes the decimal nearest to x, |x| < 1,000,000.
func FromFloat(x float64) (Decimal, error) {
	return ParseDecimal(strings.TrimSuffix(strconv.FormatFloat(x, 'f', 6, 64), "."))
}

// Float is the nearest float64.
func (d Decimal) Float() float64 { return float64(d.millionths) / million }

// String is the shortest decimal.
func (d Decimal) String() string { return strconv.FormatFloat(d.Float(), 'f', -1, 64) }

// MarshalText writes the shortest decimal.
func (d Decimal) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads what ParseDecimal reads.
func (d *Decimal) UnmarshalText(text []byte) error {
	v, err := ParseDecimal(string(text))
	if err == nil {
		*d = v
	}
	return err
}

// ratio is a fraction with a positive denominator.
type ratio struct{ num, den int64 }

func (r ratio) floor() int64 {
	q := r.num / r.den
	if r.num%r.den < 0 {
		q--
	}
	return q
}

func (r ratio) ceil() int64 { return -ratio{-r.num, r.den}.floor() }

// shown rounds half up to a number of decimals (at most 3).
func (r ratio) shown(decimals int) float64 {
	scale := int64(1)
	for range decimals {
		scale *= 10
	}
	return float64(ratio{2*r.num*scale + r.den, 2 * r.den}.floor()) / float64(scale)
}
