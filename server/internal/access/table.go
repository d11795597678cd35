package access

// The sets that the table uses more than once.
const (
	// deciders approve, refuse, waive and stop.
	deciders = Coordinator | Committee
	// siteKeepers enter and change sites, surveys and permits.
	siteKeepers = SiteOfficer | Coordinator | Committee
	// gearKeepers register gear and take it out of use.
	gearKeepers = Blender | Coordinator | Committee
	// watchers keep the register of who is in the water.
	watchers = Cover | Coordinator
	// overseers read what was decided, and why.
	overseers = Coordinator | Committee | SafetyOfficer
	// team is everybody on a plan.
	team = Leads | InTeam | Covers
	// oneself and whoever answers for one.
	own = Self | Ward
)

// table is who may call what. A method that is not here is not served: the server refuses to start.
//
// Reading it: "anywhere" is enough for any record; "here" asks for the role in the record's own expedition or for the whole
// club; "tied" lets in whoever has that relation to the record, whatever the roles. Guests and guardians come in by relation only:
// own records, own brief, a ward's record. What a reader then sees of a record is in visibility.go.
var table = []Method{
	// Who one is, and what one's devices may do.
	{Name: accessService + "WhoAmI", Anywhere: Everybody, Tied: Self},
	{Name: accessService + "IssueToken", Anywhere: Committee, Here: Coordinator, Tied: Self},
	{Name: accessService + "RenewToken", Anywhere: Everybody, Tied: Self},
	{Name: accessService + "RevokeToken", Anywhere: Committee, Here: Coordinator, Tied: Self},
	{Name: accessService + "ListTokens", Anywhere: Committee, Here: Coordinator, Tied: Self},
	{Name: accessService + "GrantRole", Anywhere: Committee, Here: Coordinator},
	{Name: accessService + "RevokeRole", Anywhere: Committee, Here: Coordinator},
	{Name: accessService + "ListRoles", Anywhere: Members, Tied: Self},
	{Name: accessService + "ListEvents", Anywhere: Committee, Here: Coordinator | SafetyOfficer, Tied: Self},

	{Name: siteService + "CreateSite", Anywhere: siteKeepers},
	{Name: siteService + "GetSite", Anywhere: Members},
	{Name: siteService + "ListSites", Anywhere: Members},
	{Name: siteService + "UpdateSite", Anywhere: siteKeepers},
	{Name: siteService + "ArchiveSite", Anywhere: SiteOfficer | Committee},
	{Name: siteService + "CreateSurvey", Anywhere: siteKeepers},
	{Name: siteService + "GetSurvey", Anywhere: Members},
	{Name: siteService + "ListSurveys", Anywhere: Members},
	{Name: siteService + "RecordReading", Anywhere: siteKeepers | Leader | Cover},
	{Name: siteService + "ListReadings", Anywhere: Members},
	{Name: siteService + "CreatePermit", Anywhere: siteKeepers},
	{Name: siteService + "GetPermit", Anywhere: Members},
	{Name: siteService + "ListPermits", Anywhere: Members},
	{Name: siteService + "UpdatePermit", Anywhere: siteKeepers},
	{Name: siteService + "ArchivePermit", Anywhere: siteKeepers},
	{Name: siteService + "GetSiteHistory", Anywhere: Members},
	{Name: siteService + "ListLeftItems", Anywhere: Members},
	{Name: siteService + "RecoverLeftItem", Anywhere: siteKeepers | Leader | Cover, Tied: Self},
	{Name: siteService + "ConfirmLeftItem", Anywhere: siteKeepers | Leader, Tied: Self},
	{Name: siteService + "ReportLineDamage", Anywhere: Members},

	{Name: rosterService + "CreatePerson", Anywhere: Coordinator | Committee | WelfareOfficer},
	{Name: rosterService + "GetPerson", Anywhere: Members, Tied: own},
	{Name: rosterService + "ListPeople", Anywhere: Members},
	{Name: rosterService + "UpdatePerson", Anywhere: Committee | WelfareOfficer, Here: Coordinator, Tied: own},
	{Name: rosterService + "ArchivePerson", Anywhere: Committee},
	{Name: rosterService + "RecordCardSeen", Anywhere: Committee, Here: Coordinator},
	{Name: rosterService + "RevokeCard", Anywhere: Committee | SafetyOfficer, Here: Coordinator},
	{Name: rosterService + "SetMedicalStatus", Anywhere: MedicalOfficer, Here: Coordinator, Tied: Self},
	{Name: rosterService + "SetAvailability", Here: Coordinator, Tied: own},
	{Name: rosterService + "CheckGoodToGo", Here: Coordinator, Tied: own},
	{Name: rosterService + "GetCurrency", Here: Coordinator, Tied: Self | Leads},
	{Name: rosterService + "GetConsumption", Here: Coordinator, Tied: Self | Leads},

	{Name: gearService + "CreateCylinder", Anywhere: gearKeepers, Tied: Self},
	{Name: gearService + "GetCylinder", Anywhere: Members, Tied: Self | team},
	{Name: gearService + "ListCylinders", Anywhere: Members},
	{Name: gearService + "UpdateCylinder", Anywhere: gearKeepers, Tied: Self},
	{Name: gearService + "ArchiveCylinder", Anywhere: gearKeepers, Tied: Self},
	{Name: gearService + "CreateCylinderSet", Anywhere: gearKeepers, Tied: Self},
	{Name: gearService + "GetCylinderSet", Anywhere: Members, Tied: Self | team},
	{Name: gearService + "ListCylinderSets", Anywhere: Members},
	{Name: gearService + "UpdateCylinderSet", Anywhere: gearKeepers, Tied: Self},
	{Name: gearService + "ArchiveCylinderSet", Anywhere: gearKeepers, Tied: Self},
	{Name: gearService + "CreateEquipment", Anywhere: gearKeepers, Tied: Self},
	{Name: gearService + "GetEquipment", Anywhere: Members, Tied: Self | team},
	{Name: gearService + "ListEquipment", Anywhere: Members},
	{Name: gearService + "UpdateEquipment", Anywhere: gearKeepers, Tied: Self},
	{Name: gearService + "ArchiveEquipment", Anywhere: gearKeepers, Tied: Self},
	{Name: gearService + "RecordService", Anywhere: gearKeepers},
	// Anybody who holds a broken thing may take it out of use; bringing it back is for those who keep the register.
	{Name: gearService + "Quarantine", Anywhere: Members, Tied: Self | team},
	{Name: gearService + "Release", Anywhere: gearKeepers},
	{Name: gearService + "RecordFill", Anywhere: gearKeepers},
	{Name: gearService + "ListFills", Anywhere: gearKeepers | SafetyOfficer, Tied: Self | team},
	// The person who breathes it analyses it.
	{Name: gearService + "RecordAnalysis", Anywhere: gearKeepers | Diver | Leader, Tied: Self | team},
	{Name: gearService + "ListAnalyses", Anywhere: gearKeepers | SafetyOfficer, Tied: Self | team},
	// Whoever hands a thing over, leaves it or misses it says so.
	{Name: gearService + "RecordCustody", Anywhere: gearKeepers | Diver | Leader | Cover, Tied: Self | team},
	{Name: gearService + "ListCustody", Anywhere: gearKeepers | SafetyOfficer, Tied: Self | team},
	{Name: gearService + "ListHoldings", Anywhere: gearKeepers | SafetyOfficer, Tied: Self},

	// Sums about gas rest on no record: whoever is signed in may ask.
	{Name: gasService + "CheckMix", Anywhere: Everybody},
	{Name: gasService + "GetBestMix", Anywhere: Everybody},
	{Name: gasService + "CheckGasSwitch", Anywhere: Everybody},
	{Name: gasService + "GetContents", Anywhere: Everybody},
	{Name: gasService + "GetSettledPressure", Anywhere: Everybody},
	{Name: gasService + "GetBlendSheet", Anywhere: Everybody},
	{Name: gasService + "GetCascade", Anywhere: Everybody},
	{Name: gasService + "GetFillPlan", Here: Blender | Coordinator},

	{Name: policyService + "CreatePolicy", Anywhere: Committee | SafetyOfficer},
	{Name: policyService + "GetPolicy", Anywhere: Members},
	{Name: policyService + "ListPolicies", Anywhere: Members},
	{Name: policyService + "ComparePolicy", Anywhere: overseers},
	{Name: policyService + "CompareDecidedPlans", Anywhere: overseers},
	{Name: policyService + "AdoptPolicy", Anywhere: Committee},

	{Name: expeditionService + "CreateExpedition", Anywhere: deciders},
	{Name: expeditionService + "GetExpedition", Anywhere: Members},
	{Name: expeditionService + "ListExpeditions", Anywhere: Members},
	{Name: expeditionService + "GetEligibility", Here: Coordinator},
	{Name: expeditionService + "UpdateExpedition", Anywhere: Committee, Here: Coordinator},
	{Name: expeditionService + "ArchiveExpedition", Anywhere: Committee, Here: Coordinator},

	// Of whom and of what, its handler asks.
	{Name: dueService + "ListDue", Anywhere: Members, Tied: own},
	{Name: dueService + "SetDigest", Tied: Self},
	{Name: dueService + "GetDigest", Tied: Self},
	{Name: dueService + "ListLetters", Anywhere: Committee | Coordinator, Tied: Self},

	{Name: planService + "CreatePlan", Here: Leader | Coordinator},
	{Name: planService + "GetPlan", Anywhere: Members, Tied: team},
	{Name: planService + "ListPlans", Anywhere: Members},
	{Name: planService + "UpdatePlan", Here: Coordinator, Tied: Self | Leads},
	{Name: planService + "ArchivePlan", Here: Coordinator, Tied: Self | Leads},
	{Name: planService + "EvaluatePlan", Here: Coordinator | SafetyOfficer, Tied: Self | team},
	{Name: planService + "SubmitPlan", Here: Coordinator, Tied: Self | Leads},
	{Name: planService + "GetReport", Here: overseers, Tied: Self | team},
	// It is whole and cannot be masked: whoever reads it must see everything in it, which the handler checks.
	{Name: planService + "GetEvidence", Here: Coordinator},
	// That the approver is not on the plan is a matter of the record, checked with the decision.
	{Name: planService + "ApprovePlan", Here: Coordinator},
	{Name: planService + "RefusePlan", Here: Coordinator},
	// Which role may waive which rule is the policy's to say, checked with the decision.
	{Name: planService + "WaiveFinding", Here: overseers | MedicalOfficer | SiteOfficer},
	{Name: planService + "CountersignWaiver", Here: overseers | MedicalOfficer | SiteOfficer},
	// Taking a waiver back is on the safe side: whoever oversees may.
	{Name: planService + "WithdrawWaiver", Here: overseers},
	{Name: planService + "ListWaivers", Anywhere: Coordinator | Committee | SafetyOfficer},
	{Name: planService + "WithdrawPlan", Here: Coordinator, Tied: Self | Leads},
	{Name: planService + "AcknowledgePlan", Tied: team},
	{Name: planService + "ListDecisions", Here: overseers, Tied: Self | team},
	{Name: planService + "GetBrief", Here: Coordinator | Cover | SafetyOfficer, Tied: team},
	{Name: planService + "StopAllDives", Anywhere: Committee | SafetyOfficer, Here: Coordinator},

	{Name: diveService + "SignIn", Here: watchers, Tied: Leads | Covers},
	{Name: diveService + "SeenOut", Here: watchers, Tied: Covers},
	{Name: diveService + "SignOut", Here: watchers, Tied: InTeam | Leads | Covers},
	{Name: diveService + "CorrectWatch", Here: watchers, Tied: Covers},
	{Name: diveService + "CloseDive", Here: watchers, Tied: Leads | Covers},
	{Name: diveService + "GetBoard", Here: watchers, Tied: team},
	{Name: diveService + "RecordDive", Anywhere: deciders | Leader | Diver},
	{Name: diveService + "GetDive", Anywhere: Members, Tied: own | team},
	{Name: diveService + "ListDives", Anywhere: Members, Tied: own},
	{Name: diveService + "UpdateDive", Here: Coordinator, Tied: Self | Leads},
	{Name: diveService + "ArchiveDive", Here: Coordinator},

	// Everybody may report; nobody is suspended for it.
	{Name: incidentService + "ReportIncident", Anywhere: Everybody, Tied: Self},
	{Name: incidentService + "GetIncident", Anywhere: Members, Tied: Self},
	{Name: incidentService + "ListIncidents", Anywhere: Members},
	{Name: incidentService + "UpdateIncident", Anywhere: SafetyOfficer, Tied: Self},
	{Name: incidentService + "ReviewIncident", Anywhere: SafetyOfficer},
	{Name: incidentService + "CloseIncident", Anywhere: SafetyOfficer},

	// One's own and one's ward's; whose else, and of places, for those who look after the club's promise to its people.
	{Name: privacyService + "ListReads", Anywhere: Committee | SafetyOfficer, Tied: own},
	// Of the caller alone.
	{Name: privacyService + "GetMyData", Tied: Self},
	// The welfare officer for a minor, which the handler checks; that a second member of the committee confirms it, the store.
	{Name: privacyService + "CheckErasure", Anywhere: Committee | WelfareOfficer, Tied: own},
	{Name: privacyService + "RequestErasure", Anywhere: Committee | WelfareOfficer, Tied: own},
	{Name: privacyService + "WithdrawErasure", Anywhere: Committee | WelfareOfficer, Tied: own},
	{Name: privacyService + "ConfirmErasure", Anywhere: Committee},
	{Name: privacyService + "ListErasures", Anywhere: Members, Tied: Self},

	// Every record in a file is judged as its own Create, Update, Get or List.
	{Name: recordService + "ApplyRecords", Anywhere: Members},
	{Name: recordService + "ExportRecords", Anywhere: Members},

	// What a load balancer or a monitor asks, before anybody is known: says nothing of records.
	{Name: "/grpc.health.v1.Health/Check", Open: true},
	{Name: "/grpc.health.v1.Health/List", Open: true},
	{Name: "/grpc.health.v1.Health/Watch", Open: true},
	// The published interface, described.
	{Name: "/grpc.reflection.v1.ServerReflection/ServerReflectionInfo", Open: true},
	{Name: "/grpc.reflection.v1alpha.ServerReflection/ServerReflectionInfo", Open: true},
}

const (
	accessService     = "/lastlight.v1.AccessService/"
	siteService       = "/lastlight.v1.SiteService/"
	rosterService     = "/lastlight.v1.RosterService/"
	gearService       = "/lastlight.v1.GearService/"
	gasService        = "/lastlight.v1.GasService/"
	policyService     = "/lastlight.v1.PolicyService/"
	expeditionService = "/lastlight.v1.ExpeditionService/"
	dueService        = "/lastlight.v1.DueService/"
	planService       = "/lastlight.v1.PlanService/"
	diveService       = "/lastlight.v1.DiveService/"
	incidentService   = "/lastlight.v1.IncidentService/"
	privacyService    = "/lastlight.v1.PrivacyService/"
	recordService     = "/lastlight.v1.RecordService/"
)
