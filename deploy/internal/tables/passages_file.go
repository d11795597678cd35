package tables

import (
	"lastlight/engine/gas"
	"lastlight/engine/tissue"
)

var airMix = gas.Air

// The format of passages.json. Pointers are keys a file may lack.

type passageFile struct {
	Scenarios []passageScenario
}

type passageScenario struct {
	ID       string
	Input    passageInput
	Expected passageExpected
}

type passageGas struct {
	O2 float64 `json:"o2_fraction"`
	He float64 `json:"he_fraction"`
}

func (g passageGas) mix() gas.Mix { return gas.Mix{O2: g.O2, He: g.He} }

type passageInput struct {
	Water struct {
		Surface  float64 `json:"surface_bar"`
		PerMetre float64 `json:"bar_per_m"`
	}
	Decompression struct {
		Model    tissue.Variant
		First    string  `json:"first_compartment"`
		Vapour   float64 `json:"water_vapour_bar"`
		GFLow    float64 `json:"gf_low"`
		GFHigh   float64 `json:"gf_high"`
		Grid     float64 `json:"stop_grid_m"`
		LastStop float64 `json:"last_stop_m"`
	}
	Policy struct {
		Ascent      float64  `json:"ascent_m_min"`
		Descent     float64  `json:"descent_m_min"`
		CountAscent bool     `json:"count_open_water_ascent"`
		PullGlide   *float64 `json:"pull_and_glide_m_min"`
		SlowExit    float64  `json:"slow_exit_factor"`
		Delay       float64  `json:"delay_min"`
		Switch      float64  `json:"switch_min"`
		LimitDeco   float64  `json:"ppo2_limit_deco_bar"`
		LimitBottom float64  `json:"ppo2_limit_bottom_bar"`
		Tolerance   float64  `json:"ppo2_tolerance_bar"`
		Least       float64  `json:"ppo2_min_bar"`
		StopFlow    float64  `json:"stop_flow_limit_m_min"`
	}
	Speeds struct {
		Swim        float64 `json:"swim_m_min"`
		Contingency float64 `json:"contingency_swim_m_min"`
	}
	Stations map[string]struct {
		Depth   float64 `json:"depth_m"`
		Opening bool
		AirBell bool `json:"air_bell"`
	}
	Legs []struct {
		ID, From, To string
		Length       float64 `json:"length_m"`
		Lined        bool
		Flow         float64 `json:"flow_m_min"`
		Restriction  string
		Points       []struct {
			At    float64 `json:"at_m"`
			Depth float64 `json:"depth_m"`
		} `json:"depth_points"`
	}
	Verified []string `json:"verified_legs_from_start"`
	Team     []struct {
		Name   string
		Volume float64    `json:"main_volume_l"`
		Start  float64    `json:"start_bar"`
		RMV    float64    `json:"rmv_l_min"`
		Main   passageGas `json:"main_gas"`
		Stages []struct {
			ID, Kind string
			Volume   float64 `json:"volume_l"`
			Start    float64 `json:"start_bar"`
			Gas      passageGas
			Switch   float64 `json:"switch_depth_m"`
		}
		History *passageHistory
	}
	Route struct {
		Start        string
		StartActions []passageAction `json:"start_actions"`
		Moves        []struct {
			Leg, To     string
			Swim        float64 `json:"swim_m_min"`
			RunLine     bool    `json:"run_line"`
			RecoverLine bool    `json:"recover_line"`
			Actions     []passageAction
			Hold        float64 `json:"hold_min"`
		}
		TurnAfter int `json:"turn_after_move"`
	}
	Out []passageOut `json:"ways_out_from"`
}

type passageHistory struct {
	Saturated *float64 `json:"saturated_at_surface_bar"`
	Segments  []struct {
		To      float64 `json:"to_depth_m"`
		Minutes float64
		Gas     passageGas
	}
	Interval float64 `json:"surface_interval_min"`
}

type passageAction struct {
	Action, Diver string
	Cylinder      *string
}

type passageOut struct {
	ID   string
	Move int
	Past *float64 `json:"metres_past"`
	Hold *float64 `json:"after_hold_min"`
	Loss struct {
		Cylinders []string
		Donor     string
	}
}

type passageLoad struct {
	Value       *float64
	Compartment string
}

type passageStop struct {
	Depth    *float64 `json:"depth_m"`
	Where    string
	Leg      *string
	Station  string
	Past     *float64 `json:"metres_past"`
	Minutes  int
	Arrival  *float64 `json:"arrival_min"`
	Move     *int
	NeededBy *struct {
		Diver, Compartment string
		Short              *float64 `json:"short_bar"`
	} `json:"needed_by"`
	LeavesWith *struct {
		Diver, Compartment string
		Margin             *float64 `json:"margin_bar"`
		GF                 *float64
	} `json:"leaves_with"`
	Gas map[string]string
}

type passageFlag struct {
	Flag     string
	Stop     int
	Metres   float64 `json:"descent_after_first_stop_m"`
	Diver    string
	Cylinder string
}

type passageSwitch struct {
	Time  *float64 `json:"time_min"`
	Depth *float64 `json:"depth_m"`
	Diver string
	To    string
}

type passageExpected struct {
	Moves []struct {
		Move      int
		Arrival   *float64 `json:"arrival_min"`
		Departure *float64 `json:"departure_min"`
	}
	Stops          []passageStop
	TotalStop      *int            `json:"total_stop_min"`
	Switches       []passageSwitch `json:"gas_switches"`
	Flags          []passageFlag
	NoStop         *bool                                           `json:"no_stop"`
	Runtime        *float64                                        `json:"runtime_min"`
	Turn           *float64                                        `json:"turn_min"`
	TTS            *float64                                        `json:"time_to_surface_min"`
	FirstDeparture *float64                                        `json:"first_departure_min"`
	Tissues        map[string]map[string]struct{ N2, He *float64 } `json:"surface_tissues_bar"`
	Load           map[string]passageLoad                          `json:"surface_gradient_factor"`
	Oxygen         map[string]struct {
		CNS            *float64 `json:"cns_pct_this_dive"`
		CNSWithHistory *float64 `json:"cns_pct_with_history"`
		OTU            *float64 `json:"otu_this_dive"`
	}
	Litres  map[string]float64        `json:"litres_ideal"`
	Closest *float64                  `json:"closest_decision_bar"`
	WaysOut map[string]*passageWayOut `json:"ways_out"`
}

type passageWayOut struct {
	Legs       []string
	Opening    string
	Metres     *float64
	Started    *float64 `json:"started_min"`
	Delay      *float64 `json:"delay_min"`
	Minutes    *float64
	BarMin     *float64 `json:"bar_min_without_delay"`
	Stops      []passageStop
	TotalStop  *int                          `json:"total_stop_min"`
	StopBarMin *float64                      `json:"stop_bar_min"`
	Breathed   map[string]map[string]float64 `json:"bar_min_by_diver_and_cylinder"`
	Load       map[string]passageLoad        `json:"surface_gradient_factor"`
	Flags      []passageFlag
	Closest    *float64 `json:"closest_decision_bar"`
}
