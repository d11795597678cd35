package command

import (
	"github.com/spf13/cobra"

	pb "lastlight/proto/lastlight/v1"
)

func (a *app) cylinderSet() *cobra.Command {
	c := pb.NewGearServiceClient
	return a.noun("set", "Sets made of cylinders: twinset, sidemount pair, single",
		list(a, verb{use: "list", short: "List sets", example: "  lastlight set list --search twin"}, c, pb.GearServiceClient.ListCylinderSets,
			plain("id", (*pb.CylinderSet).GetId), plain("kind", (*pb.CylinderSet).GetKind), words("cylinders", func(s *pb.CylinderSet) string { return join(s.GetCylinders()) }),
			plain("owner", (*pb.CylinderSet).GetOwner),
			words("due", func(s *pb.CylinderSet) string { return dueWords(s.GetDue()) }), words("notes", (*pb.CylinderSet).GetNotes),
		),
		call(a, verb{use: "show SET", short: "Show a set", args: []string{"id"}, example: "  lastlight set show twin-1"},
			c, pb.GearServiceClient.GetCylinderSet, nil, detail),
		call(a, verb{
			use: "create [SET]", short: "Enter a set", args: []string{"set.id?"}, block: "set", file: true,
			example: "  lastlight set create twin-1 --kind twinset --cylinders c-12-1 --cylinders c-12-2",
		}, c, pb.GearServiceClient.CreateCylinderSet, nil, done[*pb.CylinderSet]("Entered.")),
		update(a, verb{
			use: "update SET", short: "Change fields of a set", args: []string{"set.id"}, block: "set", file: true,
			example: "  lastlight set update twin-1 --owner ane",
		}, c, pb.GearServiceClient.UpdateCylinderSet, func(id string) *pb.GetCylinderSetRequest { return &pb.GetCylinderSetRequest{Id: id} }, pb.GearServiceClient.GetCylinderSet),
		call(a, verb{use: "archive SET", short: "Take a set out of use", args: []string{"id"}, example: "  lastlight set archive twin-1"},
			c, pb.GearServiceClient.ArchiveCylinderSet, nil, done[*pb.CylinderSet]("Archived.")),
	)
}
