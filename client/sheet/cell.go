package sheet

import (
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/structpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/client/recordfile"
	"lastlight/engine/calendar"
)

// The club's bounds of typed dates (method handbook, dates, T6).
var typedRules = calendar.TypedRules{EarliestYear: 1900, EarliestTwoDigitYear: 1950}

// mayLieAhead are the days that may be in the future; every other day is that of something done.
var mayLieAhead = []protoreflect.Name{
	"expires_day", "next_due", "remove_by", "guardian_consent_to", "doctor_until", "from_day", "to_day", "first_day", "last_day", "in_force_from",
}

// farAhead is later than any due date.
var farAhead, _ = calendar.ParseDay("2199-12-31")

// refusals says in words why a typed date or time is not read.
var refusals = map[calendar.Refusal]string{
	calendar.FormNotDeclared:     "not an ISO date, and the mapping declares no other form that fits (dates: DMY …)",
	calendar.YearMissing:         "the year is missing",
	calendar.MonthMissing:        "the month is missing",
	calendar.DayMissing:          "the day is missing",
	calendar.TwoDigitYear:        "a year of two digits: which century is meant?",
	calendar.NoSuchDate:          "there is no such day",
	calendar.Future:              "lies in the future",
	calendar.NoSuchTime:          "the clocks of this zone never show that time",
	calendar.AmbiguousTime:       "the clocks show that time twice: add the offset",
	calendar.OffsetNotOfThisZone: "the zone does not have this offset then",
}

// reader turns the text of a cell into the value of a field.
type reader struct {
	m     *Mapping
	today calendar.Day
	zone  calendar.Zone
}

// unread is a text that is not of the field's form.
type unread struct{ message, expected string }

func (e *unread) Error() string { return e.message + e.expected }

// text translates and cleans what stands in a cell. fd nil: the place of a row.
func (r *reader) text(at, cell string) string {
	s := strings.TrimSpace(cell)
	if w, ok := r.m.Words[at][s]; ok {
		s = w
	}
	if slices.Contains(r.m.Keys, at) {
		s = slug(s)
	}
	return s
}

// slug makes a key of a text: accents go, whatever is no letter or digit becomes one hyphen.
func slug(s string) string {
	var b strings.Builder
	for _, c := range norm.NFD.String(strings.ToLower(s)) {
		switch {
		case c >= 'a' && c <= 'z' || c >= '0' && c <= '9':
			b.WriteRune(c)
		case unicode.Is(unicode.Mn, c):
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
	}
	return strings.TrimRight(b.String(), "-")
}

var comma = regexp.MustCompile(`^[-+]?\d+,\d+$`)

// value reads the text of a field. echo is not empty where a date was completed
// and has to be shown to whoever typed it.
func (r *reader) value(fd protoreflect.FieldDescriptor, text string) (v protoreflect.Value, echo string, err error) {
	expected := recordfile.Expect(fd)
	if fd.Message() != nil {
		if fd.Message().FullName() == "google.protobuf.Struct" {
			s := &structpb.Struct{}
			if err := json.Unmarshal([]byte(text), s); err != nil {
				return v, "", &unread{"", "a JSON object"}
			}
			return protoreflect.ValueOfMessage(s.ProtoReflect()), "", nil
		}
		t, err := r.instant(text)
		if err != nil {
			return v, "", err
		}
		return protoreflect.ValueOfMessage(t.ProtoReflect()), "", nil
	}
	if strings.HasPrefix(expected, "a day") && fd.Kind() == protoreflect.StringKind {
		text, echo, err = r.day(fd, text, strings.HasPrefix(expected, "a day or month"))
		if err != nil {
			return v, "", err
		}
	}
	if r.m.Decimal == "comma" && comma.MatchString(text) && (fd.Kind() == protoreflect.DoubleKind || strings.HasPrefix(expected, "percent")) {
		text = strings.Replace(text, ",", ".", 1)
	}
	v, ok := recordfile.ParseScalar(fd, text)
	if !ok {
		return v, "", &unread{"", expected}
	}
	return v, echo, nil
}

// serial is a day as spreadsheets count them, from 1900: 10000 is in 1927, 99999 in 2173.
var serial = regexp.MustCompile(`^[1-9]\d{4}([.,]\d+)?$`)

func (r *reader) day(fd protoreflect.FieldDescriptor, text string, mark bool) (day, echo string, err error) {
	use, today := calendar.UseIssue, r.today
	ahead := slices.Contains(mayLieAhead, fd.Name())
	switch {
	case ahead && mark:
		// A due date stamped on an item: a mark, but one that lies ahead.
		use, today = calendar.UseMark, farAhead
	case ahead:
		use = calendar.UseExpiry
	case mark:
		use = calendar.UseMark
	}
	d := calendar.ReadTypedDate(calendar.TypedDate{Text: text, Form: r.m.Dates, Use: use, Today: today, Rules: typedRules})
	if d.Refused != "" {
		message := refusals[d.Refused]
		if serial.MatchString(text) {
			message = "a spreadsheet's own number of a day: give the column the form of a date, YYYY-MM-DD, and save it again"
		}
		expected := recordfile.Expect(fd)
		if r.m.Dates != "" && r.m.Dates != calendar.FormISO {
			expected += ", or as the mapping says, " + string(r.m.Dates)
		}
		return "", "", &unread{message, expected}
	}
	if d.Echo {
		echo = fmt.Sprintf("%q is read as %s", text, d.Date)
	}
	return d.Date.String(), echo, nil
}

var wallTime = regexp.MustCompile(`^(.+?)[ T]+(\d{1,2}:\d{2})(?::00)? ?(Z|[-+]\d{2}:\d{2})?$`)

// instant reads a time with its offset, or one of the mapping's zone.
func (r *reader) instant(text string) (*timestamppb.Timestamp, error) {
	if t, err := recordfile.ParseInstant(text); err == nil {
		return t, nil
	}
	const expected = "a day and time, e.g. 2026-06-01 08:10, with an offset where the mapping names no zone"
	if serial.MatchString(text) {
		return nil, &unread{"a spreadsheet's own number of a day: give the column the form of a date and time, and save it again", expected}
	}
	part := wallTime.FindStringSubmatch(text)
	if part == nil || r.zone.Name == "" {
		return nil, &unread{"", expected}
	}
	d := calendar.ReadTypedDate(calendar.TypedDate{Text: part[1], Form: r.m.Dates, Use: calendar.UseExpiry, Today: r.today, Rules: typedRules})
	if d.Refused != "" {
		return nil, &unread{refusals[d.Refused], expected}
	}
	clock := part[2]
	if len(clock) == 4 {
		clock = "0" + clock
	}
	offset := part[3]
	if offset == "Z" {
		offset = "+00:00"
	}
	t, err := calendar.ReadTypedTime(d.Date.String()+"T"+clock, offset, r.zone)
	if err != nil {
		return nil, &unread{"the zone data does not reach that year", expected}
	}
	if t.Refused != "" {
		return nil, &unread{refusals[t.Refused], expected}
	}
	return &timestamppb.Timestamp{Seconds: t.UTC.Unix()}, nil
}
