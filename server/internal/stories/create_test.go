package stories

import (
	"fmt"

	pb "lastlight/proto/lastlight/v1"
)

// create stores one record by its own method.
func (c *club) create(r *pb.Record) error {
	ctx := c.as("keeper")
	var err error
	switch x := r.Record.(type) {
	case *pb.Record_Site:
		_, err = c.sites().CreateSite(ctx, &pb.CreateSiteRequest{Site: x.Site, RequestId: id()})
	case *pb.Record_Survey:
		_, err = c.sites().CreateSurvey(ctx, &pb.CreateSurveyRequest{Survey: x.Survey, RequestId: id()})
	case *pb.Record_Person:
		_, err = c.people().CreatePerson(ctx, &pb.CreatePersonRequest{Person: x.Person, RequestId: id()})
	case *pb.Record_Cylinder:
		_, err = c.gear().CreateCylinder(ctx, &pb.CreateCylinderRequest{Cylinder: x.Cylinder, RequestId: id()})
	case *pb.Record_CylinderSet:
		_, err = c.gear().CreateCylinderSet(ctx, &pb.CreateCylinderSetRequest{Set: x.CylinderSet, RequestId: id()})
	case *pb.Record_Equipment:
		_, err = c.gear().CreateEquipment(ctx, &pb.CreateEquipmentRequest{Equipment: x.Equipment, RequestId: id()})
	case *pb.Record_Expedition:
		_, err = pb.NewExpeditionServiceClient(c.conn).CreateExpedition(ctx, &pb.CreateExpeditionRequest{Expedition: x.Expedition, RequestId: id()})
	case *pb.Record_Fill:
		_, err = c.gear().RecordFill(ctx, &pb.RecordFillRequest{Fill: x.Fill, RequestId: id()})
	case *pb.Record_Analysis:
		_, err = c.gear().RecordAnalysis(ctx, &pb.RecordAnalysisRequest{Analysis: x.Analysis, RequestId: id()})
	case *pb.Record_Dive:
		_, err = c.dives().RecordDive(ctx, &pb.RecordDiveRequest{Dive: x.Dive, RequestId: id()})
	case *pb.Record_Role:
		_, err = pb.NewAccessServiceClient(c.conn).GrantRole(ctx, &pb.GrantRoleRequest{Grant: x.Role, RequestId: id()})
	default:
		err = fmt.Errorf("no method for %T", x)
	}
	return err
}
