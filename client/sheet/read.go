package sheet

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"lastlight/client/recordfile"
	"lastlight/engine/calendar"
	pb "lastlight/proto/lastlight/v1"
	"lastlight/server/zones"
)

// Options are what reading needs to know beside the files.
type Options struct {
	// Mapping of the club's own headings; nil: the headings are field paths, and the file's name begins with the kind.
	Mapping *Mapping
	// Zone is the IANA name of the club's zone, for a mapping that names none.
	Zone string
	Now  time.Time
	// Existing gives what is on record under these ids, as an export does. A
	// sheet has some of a record's fields; the others stay as they are.
	Existing func(kind string, ids []string) ([]*pb.Record, error)
}

// Answer is what sheets hold.
type Answer struct {
	File *recordfile.File
	// Echoes are dates completed to a century, to be confirmed by whoever typed them.
	Echoes []string
	// Unused are headings that nothing was read from.
	Unused []string
}

// Read reads sheets into records. Problems are of text and schema, each with
// its row and column; the error is one of reaching what is on record, or of a
// zone that does not exist.
func Read(sources []recordfile.Source, o Options) (Answer, recordfile.Problems, error) {
	a := Answer{File: &recordfile.File{}}
	var problems recordfile.Problems
	var tables []*table
	var partial []string
	for _, src := range sources {
		a.File.Names = append(a.File.Names, src.Name)
		t, found := readTable(src, o.Mapping)
		problems = append(problems, found...)
		if t == nil || t.kind == nil || t.key() == nil {
			continue
		}
		if len(found) > 0 {
			partial = append(partial, src.Name)
		}
		tables = append(tables, t)
		problems = append(problems, t.long...)
		for _, h := range t.unused {
			a.Unused = append(a.Unused, src.Name+": "+h)
		}
	}
	a.File.Places = recordfile.NewPlaces(recordfile.Place{File: strings.Join(a.File.Names, ", ")})
	for _, name := range partial {
		a.File.Places.Partial(name)
	}
	// A record comes before what lies within it.
	slices.SortStableFunc(tables, func(x, y *table) int { return len(x.lists) - len(y.lists) })
	b := builder{answer: &a, records: map[string]int{}, texts: map[string]text{}, slugs: map[string]string{}}
	for _, t := range tables {
		if err := b.open(t, o); err != nil {
			return a, nil, err
		}
	}
	if err := b.existing(tables, o); err != nil {
		return a, nil, err
	}
	for _, t := range tables {
		b.fill(t)
	}
	problems = append(problems, b.problems...)
	if n := len(a.File.Records); n > recordfile.MaxRecords {
		problems = append(problems, recordfile.Problem{
			Place: recordfile.Place{File: a.File.Names[0]}, Read: fmt.Sprintf("%d records", n), Expected: fmt.Sprintf("at most %d at once", recordfile.MaxRecords),
		})
	} else {
		problems = append(problems, a.File.Validate()...)
	}
	problems.Sort(a.File.Names)
	return a, problems, nil
}

// text is what was read for a field, to tell rows apart that contradict each other.
type text struct {
	typed string
	at    recordfile.Place
}

// builder puts records together from rows.
type builder struct {
	answer   *Answer
	problems recordfile.Problems
	readers  map[*table]*reader
	records  map[string]int    // index in the file, by kind and key
	texts    map[string]text   // by path
	slugs    map[string]string // the text a key was made of
	begun    map[string]bool   // lists that a sheet has begun to fill, by path
}

func (b *builder) wrong(t *table, r row, c column, path, read, expected, message string) {
	b.problems = append(b.problems, recordfile.Problem{Place: t.at(r, c), Field: path, Read: read, Expected: expected, Message: message})
	if path != "" {
		b.answer.File.Places.Break(path)
	}
}

// open makes the reader of a table's cells: its zone, and what day it is there.
func (b *builder) open(t *table, o Options) error {
	name := t.m.Zone
	if name == "" {
		name = o.Zone
	}
	r := &reader{m: t.m}
	loc, err := time.LoadLocation(name)
	if err != nil {
		return fmt.Errorf("zone %q: no such time zone", name)
	}
	now := o.Now.In(loc)
	if r.today, err = calendar.ParseDay(now.Format(time.DateOnly)); err != nil {
		return err
	}
	// Zone data has whole minutes from then on; older times need their offset.
	if r.zone, err = zones.Load(name, 1975, now.Year()+5); err != nil {
		return err
	}
	if b.readers == nil {
		b.readers, b.begun = map[*table]*reader{}, map[string]bool{}
	}
	b.readers[t] = r
	return nil
}

// existing asks for what is on record of the ids in the sheets.
func (b *builder) existing(tables []*table, o Options) error {
	var kinds []string
	ids := map[string][]string{}
	for _, t := range tables {
		key := t.key()
		if len(key.steps) == 0 {
			continue
		}
		for _, r := range t.rows {
			if id := b.readers[t].text(key.text, key.typed(r)); id != "" {
				ids[t.m.Kind] = append(ids[t.m.Kind], id)
			}
		}
		if !slices.Contains(kinds, t.m.Kind) {
			kinds = append(kinds, t.m.Kind)
		}
	}
	for _, kind := range kinds {
		slices.Sort(ids[kind])
		list, err := o.Existing(kind, slices.Compact(ids[kind]))
		if err != nil {
			return err
		}
		for _, r := range list {
			m := r.ProtoReflect().Get(r.ProtoReflect().WhichOneof(r.ProtoReflect().Descriptor().Oneofs().Get(0))).Message()
			b.records[kind+" "+m.Get(keyOf(m.Descriptor())).String()] = len(b.answer.File.Records)
			b.answer.File.Records = append(b.answer.File.Records, proto.Clone(r).(*pb.Record))
		}
	}
	return nil
}

// fill takes a table's rows into the records.
func (b *builder) fill(t *table) {
	key := *t.key()
	for _, r := range t.rows {
		id := b.readers[t].text(key.text, key.typed(r))
		if id == "" {
			b.wrong(t, r, key, "", "", "which record the row belongs to", "is missing")
			continue
		}
		if !b.told(t, r, key, id) {
			continue
		}
		n, there := b.records[t.m.Kind+" "+id]
		if !there {
			n = len(b.answer.File.Records)
			b.records[t.m.Kind+" "+id] = n
			record := &pb.Record{}
			record.ProtoReflect().Set(t.kind, record.ProtoReflect().NewField(t.kind))
			b.answer.File.Records = append(b.answer.File.Records, record)
		}
		m := b.answer.File.Records[n].ProtoReflect().Mutable(t.kind).Message()
		at := fmt.Sprintf("records[%d]", n)
		if p, _ := b.answer.File.Places.Find(at); p.Cell == "" {
			b.answer.File.Places.Mark(at, t.at(r, key), "")
		}
		b.level(t, r, m, at+"."+string(t.kind.Name()), 0)
	}
}

// told refuses a key that two different texts were turned into.
func (b *builder) told(t *table, r row, key column, id string) bool {
	typed := key.typed(r)
	name := t.m.Kind + " " + id
	if former, there := b.slugs[name]; there && former != typed {
		b.wrong(t, r, key, "", typed, "a key of its own", fmt.Sprintf("becomes the key %q, as does %q", id, former))
		return false
	}
	b.slugs[name] = typed
	return true
}

// level sets what a row says of a block, then goes on into the list below.
func (b *builder) level(t *table, r row, m protoreflect.Message, at string, level int) {
	for _, c := range t.columns {
		if len(c.lists) == level && len(c.steps) > 0 {
			b.set(t, r, c, m, at)
		}
	}
	if level == len(t.lists) || !says(t, r, level+1) {
		return
	}
	l := t.lists[level]
	for _, fd := range l[:len(l)-1] {
		m = m.Mutable(fd).Message()
	}
	at += "." + l.name()
	entries := m.Mutable(l.field()).List()
	if n, ok := b.entry(t, r, entries, at, level+1); ok {
		inner := fmt.Sprintf("%s[%d]", at, n)
		if p, _ := b.answer.File.Places.Find(inner); p.Line != r.number {
			b.answer.File.Places.Mark(inner, t.at(r, column{}), "")
		}
		b.level(t, r, entries.Get(n).Message(), inner, level+1)
	}
}

// says tells whether a row has anything at a level or further in.
func says(t *table, r row, level int) bool {
	return slices.ContainsFunc(t.columns, func(c column) bool { return len(c.lists) >= level && len(c.slots) > 0 && c.typed(r) != "" })
}

// entry finds or makes the entry of a list that a row is about.
func (b *builder) entry(t *table, r row, entries protoreflect.List, at string, level int) (int, bool) {
	key := t.keyOf(level)
	l := t.lists[level-1]
	switch {
	case key != nil && len(key.steps) > 0: // by its own key; entries not in the sheet stay
		id := b.readers[t].text(key.text, key.typed(r))
		if id == "" {
			b.wrong(t, r, *key, "", "", "which of "+l.name()+" the row is about", "is missing")
			return 0, false
		}
		for i := range entries.Len() {
			if entries.Get(i).Message().Get(key.steps[0]).String() == id {
				return i, true
			}
		}
		entries.Append(entries.NewElement())
		return entries.Len() - 1, true
	case l.key() != nil && (level < len(t.lists) || key == nil):
		b.wrong(t, r, column{}, "", "", l.name()+"."+string(l.key().Name()), "without its key this row would be added anew each time")
		return 0, false
	case level < len(t.lists): // further out, by its place
		if key == nil {
			b.wrong(t, r, column{}, "", "", l.name()+"."+place, "which of "+l.name()+" the row is about is not told")
			return 0, false
		}
		n, err := strconv.Atoi(key.typed(r))
		if err != nil || n < 1 || n > entries.Len() {
			b.wrong(t, r, *key, "", key.typed(r), fmt.Sprintf("the place of one of %d %s, from 1", entries.Len(), l.name()), "there is none")
			return 0, false
		}
		return n - 1, true
	}
	// The sheet is the list: what was there before is not.
	if !b.begun[at] {
		b.begun[at] = true
		entries.Truncate(0)
	}
	entries.Append(entries.NewElement())
	return entries.Len() - 1, true
}

// set reads one cell into its field. An empty cell leaves the field as it is.
func (b *builder) set(t *table, r row, c column, m protoreflect.Message, at string) {
	typed := c.typed(r)
	names := make([]string, len(c.steps))
	for i, fd := range c.steps {
		names[i] = string(fd.Name())
	}
	at += "." + strings.Join(names, ".")
	here := t.at(r, c)
	if typed == "" {
		if p, _ := b.answer.File.Places.Find(at); p != here && b.texts[at].typed == "" {
			b.answer.File.Places.Mark(at, here, "") // where it could have been written
		}
		return
	}
	if former, there := b.texts[at]; there {
		if former.typed != typed {
			b.wrong(t, r, c, at, typed, former.typed, fmt.Sprintf("%s says otherwise of the same record", former.at))
		}
		return
	}
	b.texts[at] = text{typed, here}
	b.answer.File.Places.Mark(at, here, typed)
	for _, fd := range c.steps[:len(c.steps)-1] {
		m = m.Mutable(fd).Message()
	}
	fd := c.steps[len(c.steps)-1]
	if o := fd.ContainingOneof(); o != nil && !o.IsSynthetic() {
		if other := m.WhichOneof(o); other != nil && other != fd && b.texts[strings.TrimSuffix(at, string(fd.Name()))+string(other.Name())].typed != "" {
			b.wrong(t, r, c, at, typed, "only one of them", "stands beside "+string(other.Name()))
			return
		}
	}
	read := b.readers[t]
	parts := []string{typed}
	if fd.IsList() {
		parts = split(typed)
		m.Clear(fd)
	}
	for i, part := range parts {
		v, echo, err := read.value(fd, read.text(c.text, part))
		if err != nil {
			e := &unread{message: err.Error()}
			if u, ok := err.(*unread); ok { //nolint:errorlint // value returns it unwrapped
				e = u
			}
			b.wrong(t, r, c, at, part, e.expected, e.message)
			return
		}
		if echo != "" {
			b.answer.Echoes = append(b.answer.Echoes, fmt.Sprintf("%s: %s", here, echo))
		}
		if !fd.IsList() {
			m.Set(fd, v)
			continue
		}
		b.answer.File.Places.Mark(fmt.Sprintf("%s[%d]", at, i), here, part)
		m.Mutable(fd).List().Append(v)
	}
}

// split takes a list of texts in one cell apart; join makes it.
func split(cell string) []string {
	var out []string
	part, escaped := strings.Builder{}, false
	for _, c := range cell {
		switch {
		case escaped:
			part.WriteRune(c)
			escaped = false
		case c == '\\':
			escaped = true
		case c == ';':
			out = append(out, strings.TrimSpace(part.String()))
			part.Reset()
		default:
			part.WriteRune(c)
		}
	}
	if last := strings.TrimSpace(part.String()); last != "" {
		out = append(out, last)
	}
	return out
}

func join(parts []string) string {
	escaped := make([]string, len(parts))
	for i, p := range parts {
		escaped[i] = strings.NewReplacer(`\`, `\\`, `;`, `\;`).Replace(p)
	}
	return strings.Join(escaped, "; ")
}
