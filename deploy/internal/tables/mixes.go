package tables

import (
	"encoding/json"
	"fmt"
	"strconv"
	"strings"

	"lastlight/engine/gas"
)

// mixNamed reads a mix as the tables name it: air, o2, he, n2, ean32, EAN32, tx18/45.
func mixNamed(name string) (gas.Mix, error) {
	lower := strings.ToLower(name)
	percent := func(s string) (float64, error) {
		v, err := strconv.ParseFloat(s, 64)
		return v / 100, err
	}
	switch {
	case lower == "air":
		return gas.Air, nil
	case lower == "o2":
		return gas.Oxygen, nil
	case lower == "he":
		return gas.Mix{He: 1}, nil
	case lower == "n2":
		return gas.Mix{}, nil
	case strings.HasPrefix(lower, "ean"):
		o2, err := percent(lower[3:])
		return gas.Mix{O2: o2}, err
	case strings.HasPrefix(lower, "tx"):
		a, b, _ := strings.Cut(lower[2:], "/")
		o2, err := percent(a)
		if err != nil {
			return gas.Mix{}, err
		}
		he, err := percent(b)
		return gas.Mix{O2: o2, He: he}, err
	}
	return gas.Mix{}, fmt.Errorf("gas %q is not known", name)
}

// composition is what model V takes for the mix in the tables' gas columns.
func composition(name string) (gas.Composition, error) {
	m, err := mixNamed(name)
	return gas.CompositionOf(m), err
}

func decode[T any](content []byte) (T, error) {
	var v T
	err := json.Unmarshal(content, &v)
	return v, err
}
