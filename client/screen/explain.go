package screen

import (
	"fmt"
	"strconv"
	"strings"

	"lastlight/client/exit"
	"lastlight/client/table"
	"lastlight/client/units"
	pb "lastlight/proto/lastlight/v1"
)

// Pick finds a finding of a report by its number, as Report shows it, or its key.
func Pick(r *pb.Report, which string) (number int, f *pb.Finding, err error) {
	all := r.GetFindings()
	if n, err := strconv.Atoi(which); err == nil {
		if n < 1 || n > len(all) {
			return 0, nil, exit.Errorf(exit.Usage, "finding %d: the report has %d, numbered from 1", n, len(all))
		}
		return n, all[n-1], nil
	}
	for i, f := range all {
		if f.GetKey() == which {
			return i + 1, f, nil
		}
	}
	return 0, nil, exit.Errorf(exit.Usage, "the report has no finding %q: name it by its number or its key, as `lastlight plan explain %s` lists them", which, r.GetPlan())
}

// Explain shows how the engine came to one finding, line by line, in the
// engine's own units: the arithmetic is in them.
func (w View) Explain(r *pb.Report, which string) error {
	n, f, err := Pick(r, which)
	if err != nil {
		return err
	}
	if !w.Page {
		return w.steps([]*pb.Finding{f})
	}
	p := &page{w: w}
	p.headline(fmt.Sprintf("%d. %s  %s", n, statusWord[f.GetStatus()], subject(f)))
	p.indented(4, f.GetMessage())
	p.label(4, "key", f.GetKey())
	p.label(4, "rule", fmt.Sprintf("%s (version %d)%s", f.GetRule(), f.GetRuleVersion(), cited(f.GetCitation())))
	var records []string
	for _, x := range f.GetRecords() {
		records = append(records, strings.TrimSpace(x.GetKind()+" "+x.GetId()+version(x.GetVersion())))
	}
	p.label(4, "records", strings.Join(records, "; "))
	if len(f.GetSteps()) == 0 {
		p.blank()
		p.line("Nothing was computed for it.")
	}
	source := ""
	for i, s := range f.GetSteps() {
		p.blank()
		p.headline(fmt.Sprintf("%3d  %s", i+1, s.GetWhat()))
		if s.GetSource() != source {
			source = s.GetSource()
			p.indented(5, "by "+source)
		}
		p.indented(5, s.GetFormula())
		if s.GetWithheld() {
			p.indented(7, "its inputs stand in somebody else's records: not shown to you")
		}
		for _, x := range s.GetInputs() {
			text := strings.TrimPrefix(x.GetName()+" = ", " = ") + w.plain(x)
			if x.GetFrom() != "" {
				text += " (" + x.GetFrom() + ")"
			}
			p.indented(7, text)
		}
		if s.GetResult() != nil {
			p.indented(5, strings.TrimSpace("= "+w.plain(s.GetResult())+w.inOwnUnits(s.GetResult())))
		}
	}
	p.blank()
	p.line("The arithmetic is in metres, minutes, bar and litres at 1 bar. A line's inputs are printed rounded: expect its result within that.")
	p.line("%s", Cautions[2])
	return p.err
}

func version(v int64) string {
	if v == 0 {
		return ""
	}
	return fmt.Sprintf(", version %d", v)
}

func (w View) plain(f *pb.Figure) string { return units.Metric.Figure(f, false) }

// inOwnUnits adds a person's own units where they are others.
func (w View) inOwnUnits(f *pb.Figure) string {
	if own := w.Units.Figure(f, false); own != w.plain(f) {
		return " (" + own + ")"
	}
	return ""
}

// Explainable lists the findings with their numbers and how many lines led to each.
func (w View) Explainable(r *pb.Report) error {
	if !w.Page {
		return w.steps(r.GetFindings())
	}
	p := &page{w: w}
	p.headline(fmt.Sprintf("plan %s, version %d: how each finding was reached", r.GetPlan(), r.GetPlanVersion()))
	for i, f := range r.GetFindings() {
		if len(f.GetSteps()) == 0 {
			continue
		}
		p.label(0, fmt.Sprintf("%3d. %s", i+1, statusWord[f.GetStatus()]), fmt.Sprintf("%s (%s)", f.GetMessage(), count(int32(len(f.GetSteps())), "line", "lines")))
	}
	p.blank()
	p.line("`lastlight plan explain %s NUMBER` shows the lines of one of them.", r.GetPlan())
	return p.err
}

func (w View) steps(fs []*pb.Finding) error {
	t := table.Table{}
	for _, title := range []string{"finding", "line", "what", "formula", "inputs", "result", "source"} {
		t.Columns = append(t.Columns, table.Column{Title: title})
	}
	for _, f := range fs {
		for i, s := range f.GetSteps() {
			var in []string
			for _, x := range s.GetInputs() {
				in = append(in, x.GetName()+" = "+w.plain(x))
			}
			if s.GetWithheld() {
				in = []string{"withheld"}
			}
			t.Rows = append(t.Rows, []string{f.GetKey(), strconv.Itoa(i + 1), s.GetWhat(), s.GetFormula(), strings.Join(in, "; "), w.plain(s.GetResult()), s.GetSource()})
		}
	}
	return w.Table(t)
}
