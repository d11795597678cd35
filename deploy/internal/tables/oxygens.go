package tables

import (
	"fmt"
	"strconv"

	"lastlight/engine/oxygen"
)

func init() { Register("oxygen", readOxygen) }

// readOxygen checks limits exactly and exposures to 0.01 %.
func readOxygen(content []byte) (*Result, error) {
	f, err := decode[struct {
		Single   [][2]*float64      `json:"noaa_single"`
		Daily    map[string]float64 `json:"noaa_24h"`
		Segments [][4]float64
		Examples []struct {
			Kind    string
			P       *float64 `json:"ppo2"`
			P0, P1  float64
			Minutes float64  `json:"min"`
			Limit   *float64 `json:"tlim"`
			CNS     *float64 `json:"cns_pct"`
			OTU     *float64
		}
	}](content)
	if err != nil {
		return nil, err
	}
	r := &Result{}
	for _, row := range f.Single {
		if row[0] == nil || row[1] == nil {
			continue // 0.5: no accumulation
		}
		r.Rows++
		r.Number("noaa_single", fmt.Sprint(*row[0]), oxygen.SingleLimit(*row[0]), *row[1], 1e-9, 0)
	}
	for key, want := range f.Daily {
		p, err := strconv.ParseFloat(key, 64)
		if err != nil {
			return nil, err
		}
		r.Rows++
		r.Number("noaa_24h", key, oxygen.DailyLimit(p), want, 1e-9, 0)
	}
	for _, s := range f.Segments {
		r.Rows++
		for _, p := range []float64{s[0] + 0.25*(s[1]-s[0]), s[0] + 0.75*(s[1]-s[0])} {
			r.Number("segments", fmt.Sprint(p), oxygen.SingleLimit(p), s[2]*p+s[3], 1e-9, 0)
		}
	}
	for i, e := range f.Examples {
		name := fmt.Sprintf("example %d (%s)", i, e.Kind)
		r.Rows++
		from, to := e.P0, e.P1
		if e.P != nil {
			from, to = *e.P, *e.P
		}
		if e.Limit != nil {
			r.Number(name, "tlim", oxygen.SingleLimit(from), *e.Limit, 1e-4, 0)
		}
		if e.CNS != nil {
			r.Number(name, "cns_pct", oxygen.CNS(from, to, e.Minutes), *e.CNS, 1e-4, 0)
		}
		if e.OTU != nil {
			r.Number(name, "otu", oxygen.OTU(from, to, e.Minutes), *e.OTU, 1e-4, 0)
		}
	}
	return r, nil
}
