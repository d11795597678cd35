// Package screen writes answers for people: what the job orders on each
// screen, within 80 columns, readable without colour; and the same facts as
// tab-separated rows for a pipe. It shows what the server says, in its order.
package screen

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/client/table"
	"lastlight/client/units"
)

// View is how and where something is shown.
type View struct {
	Out   io.Writer
	Units units.System
	// A page for a terminal; else tabs.
	Page bool
	// Headlines may be set bold. Bold never carries a meaning of its own.
	Bold bool
	Now  time.Time
	// The time zone of a site.
	Zone func(site string) *time.Location
}

// Cautions stand on screens and in help.
var Cautions = []string{
	"This is a planning and record aid. It does not replace training, an instructor, a doctor, site owners' rules or the law.",
	"It knows only what was entered. Caves change: line, flow, visibility and gas are checked on the day and the dive is changed or ended.",
	"A pass or an approval means the listed checks passed on the entered data. It is not a promise that the dive is safe. Any diver may end any dive.",
	"Times to alert are limits chosen by the club. In an emergency call the local number at once; do not wait for this system.",
}

// Clean drops control characters from text that others entered.
func Clean(s string) string { return table.Clean(s) }

// page collects lines; the first error of writing ends it.
type page struct {
	w   View
	err error
}

func (p *page) write(s string) {
	if p.err == nil {
		_, p.err = io.WriteString(p.w.Out, s)
	}
}

func (p *page) line(format string, args ...any) {
	text := format
	if len(args) > 0 {
		text = fmt.Sprintf(format, args...)
	}
	for _, l := range table.Wrap(Clean(text), table.Width) {
		p.write(l + "\n")
	}
}

// headline is a line that is bold where the terminal can.
func (p *page) headline(text string) {
	for _, l := range table.Wrap(Clean(text), table.Width) {
		if p.w.Bold {
			l = "\x1b[1m" + l + "\x1b[0m"
		}
		p.write(l + "\n")
	}
}

func (p *page) blank() { p.write("\n") }

// label writes "label  text", nothing where there is no text.
func (p *page) label(indent int, label, text string) {
	if p.err == nil && text != "" {
		p.err = table.Labelled(p.w.Out, indent, label, Clean(text))
	}
}

// indented writes wrapped text moved right.
func (p *page) indented(indent int, text string) {
	for _, l := range table.Wrap(Clean(text), table.Width-indent) {
		p.write(strings.TrimRight(strings.Repeat(" ", indent)+l, " ") + "\n")
	}
}

// Table writes rows in the view's form.
func (w View) Table(t table.Table) error {
	for _, row := range t.Rows {
		for i := range row {
			row[i] = Clean(row[i])
		}
	}
	if !w.Page {
		return t.Tabs(w.Out)
	}
	if len(t.Rows) == 0 {
		_, err := fmt.Fprintln(w.Out, "Nothing to list.")
		return err
	}
	if err := t.Page(w.Out); err != nil {
		return err
	}
	for _, row := range t.Rows {
		if slices.ContainsFunc(row, w.converted) {
			return w.rounding()
		}
	}
	return nil
}

// converted tells whether a text shows a value in other units than it is stored in.
func (w View) converted(text string) bool {
	return w.Units == units.Imperial && (strings.HasSuffix(text, " psi") || strings.Contains(text, " ft³"))
}

func (w View) rounding() error {
	_, err := fmt.Fprintln(w.Out, strings.Join(table.Wrap(w.Units.Note(), table.Width), "\n"))
	return err
}

// Time shows a time with its offset, in the site's zone; RFC 3339 in a pipe. An absent one is "".
func (w View) Time(t *timestamppb.Timestamp, site string) string {
	if t == nil {
		return ""
	}
	return w.in(t, w.zone(site))
}

func (w View) zone(site string) *time.Location {
	if w.Zone != nil {
		if z := w.Zone(site); z != nil {
			return z
		}
	}
	return time.UTC
}

func (w View) in(t *timestamppb.Timestamp, zone *time.Location) string {
	if t == nil {
		return ""
	}
	if !w.Page {
		return t.AsTime().In(zone).Format(time.RFC3339)
	}
	return t.AsTime().In(zone).Format("2006-01-02 15:04 -07:00")
}

// Age says how long ago something was, for a person.
func (w View) Age(t *timestamppb.Timestamp) string {
	if t == nil {
		return "of unknown age"
	}
	d := w.Now.Sub(t.AsTime()).Round(time.Second)
	switch {
	case d < 0:
		return "just now"
	case d < time.Minute:
		return fmt.Sprintf("%d s old", int(d.Seconds()))
	case d < 2*time.Hour:
		return fmt.Sprintf("%d min old", int(d.Minutes()))
	default:
		return fmt.Sprintf("%d h old", int(d.Hours()))
	}
}

// JSON writes a message with the field names of the API, the same bytes for
// the same message: protojson varies its blanks on purpose.
func JSON(m proto.Message) ([]byte, error) {
	raw, err := protojson.MarshalOptions{UseProtoNames: true, EmitDefaultValues: true}.Marshal(m)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := json.Indent(&b, raw, "", "  "); err != nil {
		return nil, err
	}
	b.WriteByte('\n')
	return b.Bytes(), nil
}

func count(n int32, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// Hang wraps text that begins at a column, its further lines under the first.
func Hang(s string, column int) string {
	return strings.Join(table.Wrap(s, table.Width-column), "\n"+strings.Repeat(" ", column))
}
