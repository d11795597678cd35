package policy

import "lastlight/engine/finding"

// handbook cites a section of the project's own method handbook, which gathers
// the published sources and marks what is only common practice.
func handbook(part, section string) finding.Citation {
	return finding.Citation{Document: "method handbook, " + part, Edition: "2026", Section: section, DateRead: "2026-11-25"}
}

// Default is the policy a new club starts with. Every cell is the recommended
// setting of the method handbook (practice 2.2 and each of its defaults, as the
// route method section 8 and the date rules correct them); a cell the handbook
// leaves open is marked so in Sources.
func Default() Policy {
	return Policy{
		Name:         "shipped default",
		Ladder:       defaultLadder(),
		Endorsements: []string{"DECO", "TRIMIX", "STAGE", "DPV", "SIDEMOUNT", "REBREATHER", "SURVEY", "INSTRUCTOR", Resuscitation, FirstAid, GivesOxygen},
		Team: Team{
			SoloAllowed:      false,
			SoloEndorsements: []string{"SIDEMOUNT"},
			CoverRequired:    true,
			CuttingTools:     2,
		},
		Lights: Lights{PrimaryFactor: 1.5, BackupFactor: 1, Primaries: 1},
		Lines: Lines{
			ReelFactor: 1.2, PrimaryReelM: 80, SafetySpools: 1, SafetySpoolM: 30,
			MarkersPerDecision: 1, ArrowsPerDiver: 3, JunctionsNeedMarker: true,
		},
		Gas: Gas{
			DefaultRMVLMin: 20, StressFactor: 1.5, ConsumptionFloorLMin: 30, DelayMin: 2,
			SharingReserveBar: 10, PlannedReserveBar: 20, MinimumGasBar: 0,
			StepBar: 5, StepPsi: 100, ThreeDonor: "single", WaitingGas: "own",
			StageRule: "thirds", StageFraction: Frac(1, 3), DecoReserveFactor: 1.5,
			IndependentWithinBar: 35, SiteOpeningShare: Frac(1, 4),
			HelpfulOutflowGone: DecideCaution, Model: "real", CountOpenWaterAscent: true,
			RebreatherBailoutLMin: 30,
		},
		Consumption: Consumption{Dives: 5, WithinMonths: 24},
		Speeds: Speeds{
			Swim: 12, ContingencySwim: 12, Ascent: 9, Descent: 18, MinProgress: 6, ContingencyCaution: 3,
			PullAndGlideRMV: 1.25, Scooter: 40, TouchContactFactor: 0.5,
		},
		Flow: Flow{
			Classes: []FlowClass{
				{Name: "none", Below: new(0.5)},
				{Name: "low", Below: new(3.0)},
				{Name: "moderate", Below: new(9.0)},
				{Name: "high", Below: new(18.0)},
				{Name: "extreme", Refuse: true},
			},
			InflowOneUp: true, InflowAboveMMin: 0.5, HoldStopMMin: 9,
		},
		SlowExit:     SlowExit{Clear: 1, SomeSilt: 1.25, SiltLikely: 1.5, ZeroVisibility: 2},
		Verification: Verification{Hours: 168, FarOpeningHours: 48, Counts: "after_marker", MinPassed: 2, HalvesWarnShare: 0.1},
		Cavern:       Cavern{MaxDepthM: 21, MaxLinearM: 40, MinVisibilityM: 10},
		Mix: Mix{
			AnalysisDays: 14, O2TolerancePoints: "1.0", HeTolerancePoints: "2.0", AnalysedByDiver: true,
			CalibratedWithin: 120, AirReadingLow: "20.7", AirReadingHigh: "21.1",
			PO2WorkingBar: 1.4, PO2RestingBar: 1.6, PO2FloorBar: 0.18,
			DensityCautionGL: 5.2, DensityRefuseGL: 6.2, OxygenNarcotic: true, SwitchNitrogenShare: Frac(1, 5),
		},
		People: People{
			MinimumAge: 18, AdultAge: 18, GuardianConsent: true,
			MedicalMode: "strict", MedicalBands: []MedicalBand{{Below: new(40), Months: 60}, {Below: new(60), Months: 36}, {Months: 24}},
			DeclarationRequired: true, DeclarationMonths: 12,
			SuspensionClearedBy: []string{"medical_officer", "coordinator"}, CardSeenByOther: true,
			CprMonths: 12, FirstAidMonths: 24,
		},
		Currency: Currency{
			Dives: 6, WithinMonths: 12, EasierAfterDays: 90, RefresherMonths: 12, ReassessMonths: 24, GraceMonths: 6,
			EndorsementUses: 4, EndorsementMonths: 12, CountedEndorsements: []string{"STAGE", "DPV", "REBREATHER"},
		},
		FirstVisit: FirstVisit{
			OneStepEasier: true, LeaderDives: 2, LeaderMonths: 24, PenetrationShare: Frac(1, 2), MedianMonths: 24, MedianLeast: 5,
		},
		Readings:  Readings{Required: true, DueAtEntry: true, ThresholdExceeded: DecideRefuse},
		Entry:     Entry{EnterByMin: 30},
		Watch:     Watch{RoundToMin: 5, GraceShare: Frac(1, 2), GraceMin: 60, GraceMax: 90, GraceFloor: 20, LookShare: Frac(1, 4), CoordinatorShare: Frac(1, 2)},
		Overlap:   Overlap{BufferMin: 0},
		Cylinders: Cylinders{Regimes: defaultRegimes(), StrictOutOfTest: false, DueSoonDays: 60, EddyCurrentAlloys: []string{"6351"}, PlusSpecs: []string{"3A", "3AA"}, PlusPercent: 10},
		Kit:       defaultKit(),
		Scooter:   Scooter{BatteryFactor: 1.5},
		Decompression: Decompression{
			Model: "zhl16c", FirstCompartment: "1b", GFLow: 30, GFHigh: 70, LastStopM: 6, StopStepM: 3, MinStopMin: 1, SwitchMin: 1,
			EarlierDivesHours: 240, AltitudeM: 300, HoldStopInRestriction: DecideRefuse,
			StopInFlow: DecideRefuse, StopOnWayIn: DecideRefuse, StopAboveLast: DecideCaution, Saddle: DecideRefuse,
		},
		Oxygen: Oxygen{CNSCautionPercent: 80, CNSRefusePercent: 100, OTUDaily: 300},
		Failures: Failures{
			DelayMin: 10, LoseDecoGas: DecideRefuse, Delay: DecideRefuse, TouchContact: DecideRefuse, TouchSharing: DecideCaution,
			ScooterLost: DecideRefuse, WorstConsumption: DecideWaiver, DeeperM: 3, LongerMin: 3, DeeperLonger: DecideRefuse, FarSideShut: DecideCaution,
		},
		Flying:         Flying{SingleHours: 12, SeveralHours: 18, StopsHours: 24, ChainHours: 48, CabinM: 600},
		FirstAidOxygen: FirstAidOxygen{FlowLMin: 15, Casualties: 2, DownToBar: 20},
		Statistics:     Statistics{HideBelow: 3},
		Retention: []Retention{
			{Record: "medical_form", Months: 12, After: "replaced"},
			{Record: "dive", Months: 120},
			{Record: "incident", Months: 120},
			{Record: "policy"},
			{Record: "equipment", Months: 60, After: "end_of_life"},
			{Record: "plan", Months: 120},
			{Record: "analysis", Months: 12},
			{Record: "board", Days: 30},
			{Record: "letter", Days: 30},
		},
		Waivers: defaultWaivers(),
		Sources: defaultSources(),
	}
}

func defaultLadder() []Level {
	fraction := func(n, d int) GasRule { return GasRule{Kind: GasFraction, Fraction: Frac(n, d)} }
	notAllowed := GasRule{Kind: GasNotAllowed}
	minimum := GasRule{Kind: GasMinimum}
	no := Permission{}
	none := Permission{Max: new(0)}
	rebreather := Permission{Allowed: true, Endorsements: []string{"REBREATHER"}}
	return []Level{
		{
			Name: "OW", Title: "open water", Overhead: OverheadNone,
			MaxDepthM: 18, CardDepth: true, MaxLinearM: new(0.0),
			GasSingle: minimum, GasDoubles: minimum, Inflow: notAllowed,
			MinStartGasL: 1400, MinVisibilityM: 3, LowerVisibility: DecideRefuse,
			Decompression: no, Jumps: none, OffMainLine: none,
			TeamMin: 2, TeamMax: 3, Lights: 1, MaxSiteGrade: 1,
		},
		{
			Name: "CAV", Title: "cavern", Overhead: OverheadDaylight,
			MaxDepthM: 21, MaxLinearM: new(40.0),
			GasSingle: fraction(1, 3), GasDoubles: fraction(1, 6), Inflow: notAllowed,
			MinStartGasL: 1400, MinVisibilityM: 10, LowerVisibility: DecideRefuse, NoStopShare: new(0.8),
			Decompression: no, Jumps: none, OffMainLine: none, Rebreather: rebreather,
			TeamMin: 2, TeamMax: 3, Lights: 2, MaxSiteGrade: 1, CourseDives: 4,
		},
		{
			Name: "INT", Title: "introductory cave", Overhead: OverheadMainLine,
			MaxDepthM: 30,
			GasSingle: fraction(1, 3), GasDoubles: fraction(1, 6), Inflow: notAllowed,
			MinStartGasL: 1700, MinVisibilityM: 9, LowerVisibility: DecideRefuse,
			Decompression: no, Jumps: none, OffMainLine: none, Rebreather: rebreather,
			TeamMin: 2, TeamMax: 3, Lights: 3, MaxSiteGrade: 2, CourseDives: 4,
		},
		{
			Name: "APP", Title: "apprentice cave", Overhead: OverheadDark,
			MaxDepthM: 40,
			GasSingle: notAllowed, GasDoubles: fraction(1, 3), Inflow: notAllowed,
			MinStartGasL: 3000, MinVisibilityM: 6, LowerVisibility: DecideRefuse,
			Decompression: Permission{Allowed: true, Endorsements: []string{"DECO"}}, DecoGases: new(1), DecoMinutes: new(10.0),
			Jumps: Permission{Allowed: true, Max: new(2)}, OffMainLine: Permission{Allowed: true, Max: new(1)},
			Circuit: Permission{Allowed: true, InstructorInTeam: true}, Traverse: Permission{Allowed: true, InstructorInTeam: true},
			MinorRestriction: Permission{Allowed: true, Max: new(1)}, TurnBothEnds: true, Rebreather: rebreather,
			TeamMin: 2, TeamMax: 3, Lights: 3, MaxSiteGrade: 3, CourseDives: 4, LapseMonths: new(12), LapsesTo: "INT",
		},
		{
			Name: "FULL", Title: "full cave", Overhead: OverheadDark,
			MaxDepthM: 40, DeeperWith: []string{"DECO", "TRIMIX"},
			GasSingle: notAllowed, GasDoubles: fraction(1, 3), Inflow: fraction(1, 4),
			MinStartGasL: 4000, MinVisibilityM: 3, LowerVisibility: DecideWaiver,
			Decompression: Permission{Allowed: true, Endorsements: []string{"DECO"}},
			Jumps:         Permission{Allowed: true, WarnAbove: new(4)}, JumpFromJump: true, OffMainLine: Permission{Allowed: true},
			Circuit: Permission{Allowed: true, AfterSetUp: true}, Traverse: Permission{Allowed: true, AfterSetUp: true},
			MinorRestriction: Permission{Allowed: true},
			MajorRestriction: Permission{Allowed: true, Endorsements: []string{"SIDEMOUNT"}, SecondApprover: true},
			Stages:           Permission{Allowed: true, Endorsements: []string{"STAGE"}},
			Scooter:          Permission{Allowed: true, Endorsements: []string{"DPV"}},
			Rebreather:       rebreather,
			TeamMin:          2, TeamMax: 3, Lights: 3, MaxSiteGrade: 5, CourseDives: 4,
		},
	}
}

// defaultKit is the table of practice 9.3. A clock refuses where something
// breathed, read or burned hangs on it and the handbook read a source, or where
// another rule relies on what it keeps true; what is common practice alone cautions.
func defaultKit() []KitInterval {
	months := func(clock string, n int, overdue Decide) KitClock {
		return KitClock{Clock: clock, Months: n, Overdue: overdue}
	}
	return []KitInterval{
		{"regulator", []KitClock{{Clock: "service", Months: 12, Dives: 100, Overdue: DecideRefuse}}},
		{"gauge", []KitClock{months("check", 12, DecideRefuse)}},
		{"valve", []KitClock{months("function", 12, DecideRefuse), months("service", 24, DecideCaution)}},
		{"buoyancy", []KitClock{months("service", 12, DecideRefuse)}},
		{"drysuit", []KitClock{months("look", 12, DecideCaution), months("service", 24, DecideCaution)}},
		{"light", []KitClock{{Clock: "trip", EachTrip: true, Overdue: DecideCaution}, months("burn", 6, DecideRefuse), months("battery", 36, DecideCaution)}},
		{"oxygen_clean", []KitClock{months("clean", 12, DecideCaution)}},
		{"analyser", []KitClock{months("cell", 12, DecideRefuse)}},
		{"oxygen_cell", []KitClock{months("manufacture", 18, DecideRefuse), months("fitting", 12, DecideRefuse)}},
		{"reel", []KitClock{months("check", 12, DecideCaution)}},
		{"compressor", []KitClock{months("test", 3, DecideRefuse)}},
		{"first_aid_oxygen", []KitClock{months("service", 12, DecideRefuse), {Clock: "pressure", EachTrip: true, Overdue: DecideRefuse}}},
	}
}
