package rpc

import (
	"context"
	"log/slog"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"buf.build/go/protovalidate"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/fault"
)

func validator(t *testing.T) protovalidate.Validator {
	t.Helper()
	v, err := protovalidate.New()
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestViolationsSayWhatIsExpected(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	found, err := Violations(validator(t), &lastlightv1.ApplyRecordsRequest{RequestId: "7", Records: []*lastlightv1.Record{
		{Record: &lastlightv1.Record_Fill{Fill: &lastlightv1.Fill{
			Cylinder: "a", Pressure: &lastlightv1.Pressure{Unit: &lastlightv1.Pressure_Bar{Bar: 2100}},
			Intended: &lastlightv1.GasMix{OxygenPercent: 0.32, HeliumPercent: nan},
		}}},
		{Record: &lastlightv1.Record_Survey{Survey: &lastlightv1.Survey{
			Site: "spring", SurveyedDay: "8.6.2026", Stations: []*lastlightv1.Station{{Id: "a", DepthM: proto.Float64(math.Inf(1))}},
			Legs: []*lastlightv1.Leg{{Id: "l", From: "a", To: "b", LengthM: 0, Restriction: "tiny"}},
		}}},
		{Record: &lastlightv1.Record_Fill{Fill: &lastlightv1.Fill{Cylinder: "a", Pressure: &lastlightv1.Pressure{}, Intended: &lastlightv1.GasMix{OxygenPercent: 50, HeliumPercent: 60}}}},
		{Record: &lastlightv1.Record_Site{Site: &lastlightv1.Site{
			Id: "s", Title: "S", TimeZone: "UTC", WaterDensity: 1000, Grade: 1, ExactPosition: &lastlightv1.Position{Latitude: 146.5}, GateCode: new(strings.Repeat("4711", 20)),
		}}},
	}})
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]fault.Problem{}
	for _, p := range found {
		if _, twice := got[p.Field]; twice {
			t.Errorf("%s is named twice", p.Field)
		}
		got[p.Field] = p
	}
	// Ranges as the published interface has them beside the fields.
	for field, want := range map[string][2]string{ // read, expected
		"request_id":                              {`"7"`, "a new UUID for each new call"},
		"records[0].fill.filled_at":               {"", "a value"},
		"records[0].fill.pressure.bar":            {"2100", "0 to 450 bar"},
		"records[0].fill.intended.oxygen_percent": {"0.32", "4 to 100 %"},
		"records[0].fill.intended.helium_percent": {"NaN", "a number in %"},
		"records[1].survey.surveyed_day":          {`"8.6.2026"`, "a day, YYYY-MM-DD"},
		"records[1].survey.stations[0].depth_m":   {"+Inf", "a number in m"},
		"records[1].survey.legs[0].length_m":      {"0", "more than 0 to 5000 m"},
		"records[1].survey.legs[0].restriction":   {`"tiny"`, "none, minor, major, or nothing"},
		"records[2].fill.filled_at":               {"", "a value"},
		"records[2].fill.pressure.unit":           {"", "bar, psi"},
		"records[3].site.exact_position.latitude": {"(not repeated: a restricted field)", "-90 to 90 degrees"},
	} {
		if p, ok := got[field]; !ok || p.Read != want[0] || p.Expected != want[1] || p.Message == "" {
			t.Errorf("%s: %+v, want read %q, expected %q", field, p, want[0], want[1])
		}
	}
	if p := got["records[2].fill.intended"]; p.Message != "oxygen and helium together are more than 100 %" {
		t.Errorf("a mix of 110 %%: %+v", p)
	}
	for _, p := range found {
		if strings.Contains(p.Read+p.Message, "4711") || strings.Contains(p.Read+p.Message, "146.5") {
			t.Errorf("what is restricted is repeated: %+v", p)
		}
	}
}

// A person who meets a regular expression has been told nothing.
func TestEveryFormHasWords(t *testing.T) {
	t.Parallel()
	var walk func(m protoreflect.MessageDescriptor)
	seen := map[protoreflect.FullName]bool{}
	patterns := 0
	walk = func(m protoreflect.MessageDescriptor) {
		if seen[m.FullName()] {
			return
		}
		seen[m.FullName()] = true
		for i := range m.Fields().Len() {
			field := m.Fields().Get(i)
			rules, _ := proto.GetExtension(field.Options(), validate.E_Field).(*validate.FieldRules)
			for _, s := range []*validate.StringRules{rules.GetString(), rules.GetRepeated().GetItems().GetString()} {
				if pattern := s.GetPattern(); pattern != "" {
					patterns++
					if forms[pattern] == "" {
						t.Errorf("%s: no words for %s", field.FullName(), pattern)
					}
				}
			}
			if field.Message() != nil {
				walk(field.Message())
			}
		}
	}
	walk((&lastlightv1.Record{}).ProtoReflect().Descriptor())
	walk((&lastlightv1.CheckGoodToGoRequest{}).ProtoReflect().Descriptor())
	if patterns < 30 {
		t.Errorf("only %d patterns met", patterns)
	}
}

// A file with broken records is answered with everything that is wrong, by the interface's rules and by the register's, and is
// not stored whatever the caller asked for.
func TestBrokenFileIsOnlyTried(t *testing.T) {
	t.Parallel()
	c := Chain{Log: slog.New(slog.DiscardHandler), Now: time.Now, Valid: validator(t)}
	file := &lastlightv1.ApplyRecordsRequest{RequestId: "0192f0c5-97a1-7e3c-8c5e-5a3f0e6c1d2b", Records: []*lastlightv1.Record{
		{Record: &lastlightv1.Record_Fill{Fill: &lastlightv1.Fill{Cylinder: "gone", Pressure: &lastlightv1.Pressure{Unit: &lastlightv1.Pressure_Bar{Bar: 200}}}}},
		{},
	}}
	for name, register := range map[string]func(*lastlightv1.ApplyRecordsRequest) (any, error){
		"problems": func(*lastlightv1.ApplyRecordsRequest) (any, error) {
			return &lastlightv1.ApplyRecordsResponse{Problems: []*lastlightv1.Problem{{Field: "records[0].fill.cylinder", Message: "no such cylinder"}, {Field: "records[0].fill.filled_at", Message: "again"}}}, nil
		},
		"error": func(*lastlightv1.ApplyRecordsRequest) (any, error) { return nil, fault.NoSuch("cylinder", "gone") },
		"panic": func(*lastlightv1.ApplyRecordsRequest) (any, error) { panic("no such time") },
	} {
		answer, err := c.validated(t.Context(), file, &grpc.UnaryServerInfo{}, func(_ context.Context, request any) (any, error) {
			r := request.(*lastlightv1.ApplyRecordsRequest)
			if !r.DryRun {
				t.Error("a broken file is applied")
			}
			return register(r)
		})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		var fields []string
		for _, p := range answer.(*lastlightv1.ApplyRecordsResponse).Problems {
			fields = append(fields, p.Field)
		}
		want := []string{"records[0].fill.filled_at", "records[0].fill.intended", "records[1].record"}
		if name == "problems" {
			want = slices.Insert(want, 2, "records[0].fill.cylinder")
		}
		if !slices.Equal(fields, want) {
			t.Errorf("%s: %v, want %v", name, fields, want)
		}
	}
	// What is wrong with the call itself is an error as for every other.
	_, err := c.validated(t.Context(), &lastlightv1.ApplyRecordsRequest{RequestId: "7", Records: file.Records}, &grpc.UnaryServerInfo{},
		func(context.Context, any) (any, error) { t.Error("called"); return nil, nil })
	if !fault.Is(err, fault.Invalid) {
		t.Errorf("a call without a request id: %v", err)
	}
}
