package route

import (
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
)

// Fraction of a supply, 0 to 1. In JSON a number or a text like "1/3".
type Fraction float64

// UnmarshalJSON reads 0.25, "0.25" or "1/4".
func (f *Fraction) UnmarshalJSON(b []byte) error {
	var s string
	if len(b) > 0 && b[0] == '"' {
		if err := json.Unmarshal(b, &s); err != nil {
			return err
		}
	} else {
		s = string(b)
	}
	if s == "null" {
		return nil
	}
	num, den, both := strings.Cut(s, "/")
	n, err := strconv.ParseFloat(strings.TrimSpace(num), 64)
	d := 1.0
	if err == nil && both {
		d, err = strconv.ParseFloat(strings.TrimSpace(den), 64)
	}
	if err != nil || d == 0 {
		return fmt.Errorf("%q is not a fraction", s)
	}
	*f = Fraction(n / d)
	return nil
}
