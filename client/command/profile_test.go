package command

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/client/exit"
	pb "lastlight/proto/lastlight/v1"
)

// exampleDive is the example of a file in the practice notes, 14.1.
func exampleDive(t *testing.T) string {
	t.Helper()
	text, err := os.ReadFile("../divefile/testdata/example.xml")
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// diveOfTwo is a dive of two without profile, on the day of the example.
func diveOfTwo() *pb.Dive {
	in := time.Date(2026, 3, 1, 10, 18, 0, 0, time.UTC)
	return &pb.Dive{
		Id: "d-41", Site: "hollow-spring", Kind: "normal", Zone: "cave", Version: 3, MaxDepthM: proto.Float64(20.4),
		EnteredAt: timestamppb.New(in), OutAt: timestamppb.New(in.Add(64 * time.Minute)),
		Divers: []*pb.DiveDiver{{Person: "ane"}, {Person: "bo", Gas: &pb.GasMix{OxygenPercent: 21}}},
	}
}

// What else the cylinders of a file held goes to the one cylinder on record with
// that gas, and the volume of mains that are in no register to the dive.
func TestReadProfileWithCylinders(t *testing.T) {
	example := exampleDive(t)
	c, d := profileClub(t)
	text := strings.Replace(example, "</gasdefinitions>", `<mix id="half"><name>50</name><o2>0.5</o2></mix><mix id="pure"><o2>1</o2></mix></gasdefinitions>`, 1)
	more := ""
	for _, mix := range []string{"half", "pure"} {
		more += `<tankdata><link ref="` + mix + `"/><tankvolume>11.1</tankvolume><tankpressurebegin>20000000</tankpressurebegin><tankpressureend>15000000</tankpressureend></tankdata>`
	}
	text = strings.Replace(text, "</tankdata>", "</tankdata>"+more, 1)
	if err := os.WriteFile(filepath.Join(c.dir, "dive.xml"), []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	ean50 := &pb.GasMix{OxygenPercent: 50}
	d.Divers[0].Gas = &pb.GasMix{OxygenPercent: 32}
	d.Divers[0].OtherGases = []*pb.BreathedGas{{Gas: ean50}}
	d.Divers[0].Cylinders = []*pb.BreathedCylinder{{Cylinder: "half-7", Kind: "deco", Gas: ean50, StartPressure: &pb.Pressure{Unit: &pb.Pressure_Bar{Bar: 190}}}}
	got := c.run("dive", "read-profile", "dive.xml", "--dive", "d-41", "--person", "ane")
	if got.code != exit.Done {
		t.Fatal(got.err)
	}
	x := c.asked("UpdateDive")[0].(*pb.UpdateDiveRequest).Dive.Divers[0]
	half := x.Cylinders[0]
	if x.GetMainsVolumeL() != 24 || x.EndPressure.GetBar() != 135 || half.StartPressure.GetBar() != 190 || half.EndPressure.GetBar() != 150 || half.VolumeL != nil {
		t.Errorf("sent %v", x)
	}
	for _, words := range []string{"half-7: start pressure: 200 bar in the file, 190 bar in the register", "100/0 in the file is left out"} {
		if !strings.Contains(got.err, words) {
			t.Errorf("not said: %s in %s", words, got.err)
		}
	}
}

func profileClub(t *testing.T) (*club, *pb.Dive) {
	c, d := newClub(t), diveOfTwo()
	if err := os.WriteFile(filepath.Join(c.dir, "dive.xml"), []byte(exampleDive(t)), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Chdir(c.dir)
	c.answer("GetDive", func(proto.Message) (proto.Message, error) { return d, nil })
	c.answer("UpdateDive", func(m proto.Message) (proto.Message, error) {
		d = proto.CloneOf(m.(*pb.UpdateDiveRequest).Dive)
		return d, nil
	})
	return c, d
}

func TestReadProfile(t *testing.T) {
	c, _ := profileClub(t)
	if got := c.run("dive", "read-profile", "dive.xml", "--dive", "d-41", "--person", "ane"); got.code != exit.Done {
		t.Fatal(got.err)
	}
	req := c.asked("UpdateDive")[0].(*pb.UpdateDiveRequest)
	x := req.Dive.Divers[0]
	if req.ExpectedVersion != 3 || !proto.Equal(x, &pb.DiveDiver{
		Person: "ane", Gas: &pb.GasMix{OxygenPercent: 32},
		StartPressure: &pb.Pressure{Unit: &pb.Pressure_Bar{Bar: 200}}, EndPressure: &pb.Pressure{Unit: &pb.Pressure_Bar{Bar: 135}}, MainsVolumeL: proto.Float64(24),
		Profile: &pb.DiveProfile{AfterS: []uint32{0, 180, 3420}, DepthCm: []uint32{0, 2000, 0}, StartedAt: timestamppb.New(time.Date(2026, 3, 1, 10, 20, 0, 0, time.UTC))},
	}) {
		t.Errorf("sent %v", req)
	}
	// The same file again adds nothing.
	got := c.run("dive", "read-profile", "dive.xml", "--dive", "d-41", "--person", "ane")
	if got.code != exit.Done || !strings.Contains(got.err, "holds this profile already") || len(c.asked("UpdateDive")) != 1 {
		t.Errorf("again: %d %s, %d writes", got.code, got.err, len(c.asked("UpdateDive")))
	}
	// And comes out as it went in, without a name.
	got = c.run("dive", "write-profile", "d-41", "--person", "ane")
	for _, part := range []string{"<o2>0.32</o2>", "<divetime>3600</divetime>", "<tankpressureend>13500000</tankpressureend>", "2026-03-01T10:20:00Z"} {
		if !strings.Contains(got.out, part) {
			t.Errorf("not written: %s in\n%s", part, got.out)
		}
	}
	for _, never := range []string{"ane", "hollow-spring", "d-41"} {
		if strings.Contains(got.out, never) {
			t.Errorf("the file names %s:\n%s", never, got.out)
		}
	}
}

func TestReadProfileRefuses(t *testing.T) {
	text := exampleDive(t)
	c, _ := profileClub(t)
	if err := os.WriteFile("bare.xml", []byte(strings.ReplaceAll(text, `<switchmix ref="g1"/>`, "")), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, line := range []struct {
		args []string
		code exit.Code
		says string
	}{
		{[]string{"dive.xml", "--dive", "d-41"}, exit.Usage, "--person says whose profile: ane, bo"},
		{[]string{"dive.xml", "--person", "ane"}, exit.Usage, "--dive"},
		{[]string{"dive.xml", "--dive", "d-41", "--person", "cy"}, exit.Invalid, "no diver of dive d-41"},
		{[]string{"dive.xml", "--dive", "d-41", "--person", "bo"}, exit.Invalid, "breathes 32/0"},
		{[]string{"bare.xml", "--dive", "d-41", "--person", "ane"}, exit.Invalid, "none is assumed"},
		{[]string{"dive.xml", "--dive", "d-41", "--person", "ane", "--number", "2"}, exit.Usage, "holds 1 dives"},
		{[]string{"dive.xml", "--dive", "d-41", "--person", "ane", "--began", "ten"}, exit.Usage, "--began"},
		{[]string{"none.xml", "--dive", "d-41"}, exit.Invalid, "none.xml"},
	} {
		got := c.run(append([]string{"dive", "read-profile"}, line.args...)...)
		if got.code != line.code || !strings.Contains(got.err, line.says) {
			t.Errorf("%v: %d %q, want %d %q", line.args, got.code, got.err, line.code, line.says)
		}
	}
	if n := len(c.asked("UpdateDive")); n != 0 {
		t.Errorf("%d writes", n)
	}
}
