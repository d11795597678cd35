package policy

import (
	"fmt"
	"strconv"
	"strings"
)

// Fraction is an exact fraction of a gas supply, written "1/3". It stays exact
// because verdicts hang on equality (one third of 210 bar is 70 bar).
type Fraction struct{ Num, Den int }

// Frac makes a fraction.
func Frac(num, den int) Fraction { return Fraction{num, den} }

// Value is the fraction as a number; an unset fraction is 0, which permits no gas.
func (f Fraction) Value() float64 {
	if f.Den == 0 {
		return 0
	}
	return float64(f.Num) / float64(f.Den)
}

// Zero tells whether the fraction was never set.
func (f Fraction) Zero() bool { return f.Den == 0 }

// Less compares two fractions exactly.
func (f Fraction) Less(g Fraction) bool {
	return int64(f.Num)*int64(g.Den) < int64(g.Num)*int64(f.Den)
}

// String writes "1/3"; an unset fraction writes as empty text.
func (f Fraction) String() string {
	if f.Den == 0 {
		return ""
	}
	return strconv.Itoa(f.Num) + "/" + strconv.Itoa(f.Den)
}

// MarshalText writes the form of String.
func (f Fraction) MarshalText() ([]byte, error) { return []byte(f.String()), nil }

// UnmarshalText reads "n/d" with 0 < n <= d <= 1000, or empty text as unset.
func (f *Fraction) UnmarshalText(b []byte) error {
	g, err := ParseFraction(string(b))
	if err != nil {
		return err
	}
	*f = g
	return nil
}

// ParseFraction reads the form of String.
func ParseFraction(s string) (Fraction, error) {
	if s == "" {
		return Fraction{}, nil
	}
	n, d, ok := strings.Cut(s, "/")
	num, err1 := strconv.Atoi(n)
	den, err2 := strconv.Atoi(d)
	if !ok || err1 != nil || err2 != nil || num <= 0 || den < num || den > 1000 {
		return Fraction{}, fmt.Errorf("%q is not a fraction of the form 1/3 between 0 and 1", s)
	}
	return Fraction{num, den}, nil
}
