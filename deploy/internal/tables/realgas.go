package tables

import (
	"fmt"
	"math"

	"lastlight/engine/gas"
)

func init() {
	Register("ztable", readZ)
	Register("gas_virial_model", readVirial)
}

// readZ checks compressibility factors: 1e-6 of the tabulated model V, 0.3 % of
// the reference equations of state.
func readZ(content []byte) (*Result, error) {
	rows, err := decode[[]struct {
		Gas    string
		T, P   float64
		Ref    *float64 `json:"Z_ref"`
		ModelV *float64 `json:"Z_modelV"`
	}](content)
	if err != nil {
		return nil, err
	}
	r := &Result{}
	for _, row := range rows {
		name := fmt.Sprintf("%s %v K %v bar", row.Gas, row.T, row.P)
		r.Rows++
		x, err := composition(row.Gas)
		if err != nil {
			return nil, err
		}
		v, err := gas.NewVirial(x, row.T)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		z := v.Z(row.P)
		if row.ModelV != nil {
			r.Number(name, "Z_modelV", z, *row.ModelV, 1e-6, 0)
		}
		if row.Ref != nil && !(math.Abs(z-*row.Ref) <= 0.003**row.Ref) {
			r.Fail(name, "Z_ref (0.3 %)", z, *row.Ref)
		}
	}
	return r, nil
}

// readVirial evaluates model V from the file's coefficients, written out here a
// second time from the handbook's formula, and compares the engine's Z with it
// over gases, temperatures and pressures: a digit changed in either shows.
func readVirial(content []byte) (*Result, error) {
	type q = [3]float64
	f, err := decode[struct {
		Pure map[string][3]q
		Bij  map[string]q
		Gij  map[string][2]q
		H    *q
	}](content)
	if err != nil {
		return nil, err
	}
	if len(f.Pure) != 3 || len(f.Bij) != 3 || len(f.Gij) != 3 || f.H == nil {
		return nil, fmt.Errorf("coefficients are missing")
	}
	names := []string{"n2", "o2", "he"}
	key := func(i, j int) string { return names[i] + "-" + names[j] }
	r := &Result{}
	for _, x := range [][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}, {.7812, .2188, 0}, {.5, 0, .5}, {0, .5, .5}, {.37, .18, .45}, {.1, .7, .2}, {.2, .1, .7}, {.3, .4, .3}} {
		for _, kelvin := range []float64{253.15, 273.15, 293.15, 313.15} {
			t := (kelvin - 293.15) / 100
			at := func(c q) float64 { return c[0] + c[1]*t + c[2]*t*t }
			var b, root3, root4 float64
			for i := range names {
				p := f.Pure[names[i]]
				b += x[i] * x[i] * at(p[0])
				root3 += x[i] * math.Cbrt(at(p[1]))
				root4 += x[i] * math.Pow(at(p[2]), 0.25)
			}
			c := math.Pow(root3, 3)
			for i := range names {
				for j := i + 1; j < 3; j++ {
					b += 2 * x[i] * x[j] * at(f.Bij[key(i, j)])
					g := f.Gij[key(i, j)]
					c += x[i] * x[j] * (x[i]*at(g[0]) + x[j]*at(g[1]))
				}
			}
			c += x[0] * x[1] * x[2] * at(*f.H)
			d := math.Pow(root4, 4)
			v, err := gas.NewVirial(gas.Composition{N2: x[0], O2: x[1], He: x[2]}, kelvin)
			if err != nil {
				return nil, err
			}
			name := fmt.Sprintf("x %v, %v K", x, kelvin)
			r.Rows++
			r.Number(name, "B", v.B, b, 1e-12, 0)
			r.Number(name, "C", v.C, c, 1e-12, 0)
			r.Number(name, "D", v.D, d, 1e-12, 0)
		}
	}
	return r, nil
}
