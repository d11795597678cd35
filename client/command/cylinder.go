package command

import (
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	"lastlight/client/screen"
	pb "lastlight/proto/lastlight/v1"
)

func (a *app) cylinder() *cobra.Command {
	c := pb.NewGearServiceClient
	verbs := []*cobra.Command{
		list(a, verb{use: "list", short: "List cylinders", example: "  lastlight cylinder list --serial 4471"}, c, pb.GearServiceClient.ListCylinders,
			plain("id", (*pb.Cylinder).GetId), plain("serial", (*pb.Cylinder).GetSerial), words("maker", (*pb.Cylinder).GetMaker),
			col("size", func(w screen.View, c *pb.Cylinder) string {
				return w.Units.Cylinder(c.GetWaterVolume(), c.GetWorkingPressure())
			}),
			col("working", func(w screen.View, c *pb.Cylinder) string { return w.Units.Pressure(c.GetWorkingPressure()) }),
			words("owner", func(c *pb.Cylinder) string { return orClub(c.GetOwner()) }),
			words("due", func(c *pb.Cylinder) string {
				switch {
				case c.GetQuarantined() != "":
					return "QUARANTINED"
				case c.GetDue() == nil:
					return ""
				}
				last := c.GetDue().GetHydroLastDay()
				if c.GetDue().GetNext() == "visual" {
					last = c.GetDue().GetVisualLastDay()
				}
				return strings.TrimSpace(strings.ReplaceAll(c.GetDue().GetStatus(), "_", " ") + " " + c.GetDue().GetNext() + " " + last)
			}),
			words("fill", func(c *pb.Cylinder) string { return may(c.GetDue().GetFill()) }),
			words("use", func(c *pb.Cylinder) string { return may(c.GetDue().GetUse()) }),
			words("carry full", func(c *pb.Cylinder) string { return may(c.GetDue().GetCarry()) }),
		),
		call(a, verb{use: "show CYLINDER", short: "Show a cylinder", args: []string{"id"}, example: "  lastlight cylinder show c-12-1"},
			c, pb.GearServiceClient.GetCylinder, nil, detail),
		call(a, verb{
			use: "create [CYLINDER]", short: "Enter a cylinder", args: []string{"cylinder.id?"}, block: "cylinder", file: true,
			example: "  lastlight cylinder create c-12-1 --serial 4471 --maker Borealis --water-volume 12L --working-pressure 232bar \\\n" +
				"    --material steel --jurisdiction ch\n" +
				"  lastlight cylinder create al-80 --serial 9 --maker Borealis --water-volume 80ft3 --working-pressure 3000psi \\\n" +
				"    --material aluminium --jurisdiction us",
		}, c, pb.GearServiceClient.CreateCylinder, nil, done[*pb.Cylinder]("Entered.")),
		update(a, verb{
			use: "update CYLINDER", short: "Change fields of a cylinder", args: []string{"cylinder.id"}, block: "cylinder", file: true,
			example: "  lastlight cylinder update c-12-1 --oxygen-clean clean",
		}, c, pb.GearServiceClient.UpdateCylinder, func(id string) *pb.GetCylinderRequest { return &pb.GetCylinderRequest{Id: id} }, pb.GearServiceClient.GetCylinder),
		call(a, verb{use: "archive CYLINDER", short: "Take a cylinder out of use; its history stays", args: []string{"id"}, example: "  lastlight cylinder archive c-12-1"},
			c, pb.GearServiceClient.ArchiveCylinder, nil, done[*pb.Cylinder]("Archived.")),
	}
	return a.noun("cylinder", "Cylinders: tests, quarantine, due dates", append(verbs, a.upkeep("cylinder", "c-12-1", "hydro")...)...)
}

// may says one of the three answers about a cylinder: until when, or why not.
func may(m *pb.MayDo) string {
	switch {
	case m == nil:
		return ""
	case m.GetUntil() != "":
		return "to " + m.GetUntil()
	}
	return strings.ReplaceAll(m.GetAnswer(), "_", " ")
}

// dueWords says when a set or other equipment falls due.
func dueWords(d *pb.NextDue) string {
	if d == nil {
		return ""
	}
	return strings.Join(strings.Fields(strings.ReplaceAll(d.GetStatus(), "_", " ")+" "+d.GetWhat()+" "+d.GetLastDay()), " ")
}

// upkeep are the verbs that cylinders and other equipment share.
func (a *app) upkeep(noun, id, kind string) []*cobra.Command {
	c := pb.NewGearServiceClient
	upper := strings.ToUpper(noun)
	item := func(w screen.View, i *pb.Item) error {
		var m proto.Message = i
		switch {
		case i.GetCylinder() != nil:
			m = i.GetCylinder()
		case i.GetEquipment() != nil:
			m = i.GetEquipment()
		}
		return w.Detail(m)
	}
	return []*cobra.Command{
		call(a, verb{
			use: "service " + upper, short: "Record a test, inspection, service or damage", args: []string{"item"}, block: "event", file: true,
			example: "  lastlight " + noun + " service " + id + " --kind " + kind + " --date 2026-05-12 --done-by \"test station\"",
		}, c, pb.GearServiceClient.RecordService, nil, done[*pb.ServiceEvent]("Recorded.")),
		call(a, verb{
			use: "quarantine " + upper, short: "Take out of service at once", args: []string{"item"},
			example: "  lastlight " + noun + " quarantine " + id + " --reason \"dropped\"",
		}, c, pb.GearServiceClient.Quarantine, nil, item),
		call(a, verb{
			use: "release " + upper, short: "Put back into service", args: []string{"item"},
			example: "  lastlight " + noun + " release " + id + " --reason \"inspected, sound\"",
		}, c, pb.GearServiceClient.Release, nil, item),
	}
}
