package command

import (
	"github.com/spf13/cobra"

	pb "lastlight/proto/lastlight/v1"
)

func (a *app) equipment() *cobra.Command {
	c := pb.NewGearServiceClient
	verbs := []*cobra.Command{
		list(a, verb{use: "list", short: "List equipment", example: "  lastlight equipment list --kind reel"}, c, pb.GearServiceClient.ListEquipment,
			plain("id", (*pb.Equipment).GetId), plain("kind", (*pb.Equipment).GetKind), plain("serial", (*pb.Equipment).GetSerial),
			words("maker", (*pb.Equipment).GetMaker), plain("owner", (*pb.Equipment).GetOwner),
			words("state", func(e *pb.Equipment) string {
				if e.GetQuarantined() != "" {
					return "QUARANTINED: " + e.GetQuarantined()
				}
				return "in service"
			}),
			words("due", func(e *pb.Equipment) string { return dueWords(e.GetDue()) }),
		),
		call(a, verb{use: "show EQUIPMENT", short: "Show a piece of equipment", args: []string{"id"}, example: "  lastlight equipment show reel-3"},
			c, pb.GearServiceClient.GetEquipment, nil, detail),
		call(a, verb{
			use: "create [EQUIPMENT]", short: "Enter a piece of equipment", args: []string{"equipment.id?"}, block: "equipment", file: true,
			example: "  lastlight equipment create reel-3 --kind reel --line-m 120 --owner ane",
		}, c, pb.GearServiceClient.CreateEquipment, nil, done[*pb.Equipment]("Entered.")),
		update(a, verb{
			use: "update EQUIPMENT", short: "Change fields of a piece of equipment", args: []string{"equipment.id"}, block: "equipment", file: true,
			example: "  lastlight equipment update reel-3 --line-m 110",
		}, c, pb.GearServiceClient.UpdateEquipment, func(id string) *pb.GetEquipmentRequest { return &pb.GetEquipmentRequest{Id: id} }, pb.GearServiceClient.GetEquipment),
		call(a, verb{use: "archive EQUIPMENT", short: "Take equipment out of use", args: []string{"id"}, example: "  lastlight equipment archive reel-3"},
			c, pb.GearServiceClient.ArchiveEquipment, nil, done[*pb.Equipment]("Archived.")),
	}
	return a.noun("equipment", "Lights, reels, regulators, scooters and the rest", append(verbs, a.upkeep("equipment", "reel-3", "inspection")...)...)
}
