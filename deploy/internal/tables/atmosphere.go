package tables

import (
	"fmt"

	"lastlight/engine/water"
)

func init() { Register("isa", readISA) }

// readISA checks the standard atmosphere to 1e-6 bar.
func readISA(content []byte) (*Result, error) {
	rows, err := decode[[]struct {
		Alt          float64  `json:"alt_m"`
		Geopotential *float64 `json:"p_geopotential_hPa"`
		Geometric    *float64 `json:"p_geometric_hPa"`
	}](content)
	if err != nil {
		return nil, err
	}
	r := &Result{}
	for _, row := range rows {
		name := fmt.Sprintf("%v m", row.Alt)
		r.Rows++
		if row.Geopotential != nil {
			p, err := water.SurfacePressure(row.Alt)
			if err != nil {
				return nil, err
			}
			r.Number(name, "p_geopotential_hPa", p*1000, *row.Geopotential, 0, 1e-3)
		}
		if row.Geometric != nil {
			p, err := water.SurfacePressure(water.Geopotential(row.Alt))
			if err != nil {
				return nil, err
			}
			r.Number(name, "p_geometric_hPa", p*1000, *row.Geometric, 0, 1e-3)
		}
	}
	return r, nil
}
