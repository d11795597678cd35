package divefile

import (
	"encoding/xml"
	"fmt"
	"io"
	"strconv"
	"time"
)

// version of the format that is written.
const version = "3.2.1"

// The elements that are written. No diver, no site, no buddy, nothing medical:
// a file goes to others, and what it does not hold it cannot give away.
type document struct {
	XMLName   xml.Name  `xml:"uddf"`
	Version   string    `xml:"version,attr"`
	Generator generator `xml:"generator"`
	Mixes     []mix     `xml:"gasdefinitions>mix"`
	Group     group     `xml:"profiledata>repetitiongroup"`
}

type generator struct {
	Name     string `xml:"name"`
	Type     string `xml:"type"`
	Datetime string `xml:"datetime"`
}

type mix struct {
	ID   string `xml:"id,attr"`
	Name string `xml:"name"`
	O2   string `xml:"o2"`
	N2   string `xml:"n2"`
	He   string `xml:"he"`
}

type group struct {
	ID   string `xml:"id,attr"`
	Dive dive   `xml:"dive"`
}

type dive struct {
	ID        string     `xml:"id,attr"`
	Datetime  string     `xml:"informationbeforedive>datetime"`
	Waypoints []waypoint `xml:"samples>waypoint"`
	Tanks     []tank     `xml:"tankdata"`
	Greatest  string     `xml:"informationafterdive>greatestdepth"`
	Duration  string     `xml:"informationafterdive>diveduration"`
}

type waypoint struct {
	Depth  string `xml:"depth"`
	Time   string `xml:"divetime"`
	Switch *ref   `xml:"switchmix"`
}

type ref struct {
	Ref string `xml:"ref,attr"`
}

type tank struct {
	Link   *ref   `xml:"link"`
	Volume string `xml:"tankvolume,omitempty"`
	Begin  string `xml:"tankpressurebegin,omitempty"`
	End    string `xml:"tankpressureend,omitempty"`
}

// Write writes one dive. now is when the file is made.
func Write(w io.Writer, d Dive, now time.Time) error {
	names := map[Mix]string{}
	doc := document{Version: version, Generator: generator{Name: "lastlight", Type: "logbook", Datetime: now.UTC().Format(time.RFC3339)}}
	named := func(m Mix) *ref {
		if names[m] == "" {
			names[m] = fmt.Sprintf("g%d", len(names)+1)
			doc.Mixes = append(doc.Mixes, mix{
				ID: names[m], Name: plain(m.O2) + "/" + plain(m.He), O2: plain(m.O2 / 100), N2: plain((100 - m.O2 - m.He) / 100), He: plain(m.He / 100),
			})
		}
		return &ref{names[m]}
	}
	out := dive{ID: "d1", Datetime: d.Started.UTC().Format(time.RFC3339)}
	greatest := 0.0
	for i, s := range d.Samples {
		p := waypoint{Depth: plain(s.DepthM), Time: plain(s.Second)}
		if i == 0 || s.Mix != d.Samples[i-1].Mix {
			p.Switch = named(s.Mix)
		}
		greatest = max(greatest, s.DepthM)
		out.Waypoints = append(out.Waypoints, p)
		out.Duration = p.Time
	}
	out.Greatest = plain(greatest)
	for _, t := range d.Tanks {
		x := tank{}
		if t.Mix != nil {
			x.Link = named(*t.Mix)
		}
		if t.Litres != nil {
			x.Volume = plain(*t.Litres / litresPerCubicMetre)
		}
		if t.BeginBar != nil {
			x.Begin = plain(*t.BeginBar * pascalPerBar)
		}
		if t.EndBar != nil {
			x.End = plain(*t.EndBar * pascalPerBar)
		}
		out.Tanks = append(out.Tanks, x)
	}
	doc.Group = group{ID: "r1", Dive: out}
	if _, err := io.WriteString(w, xml.Header); err != nil {
		return err
	}
	e := xml.NewEncoder(w)
	e.Indent("", "  ")
	if err := e.Encode(doc); err != nil {
		return err
	}
	_, err := io.WriteString(w, "\n")
	return err
}

// plain is a decimal without exponent, to six places.
func plain(f float64) string {
	text := strconv.FormatFloat(f, 'f', 6, 64)
	short, _ := strconv.ParseFloat(text, 64) // What was just written reads.
	return strconv.FormatFloat(short, 'f', -1, 64)
}
