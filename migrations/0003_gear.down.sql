DROP TABLE custody_event, analysis, fill, service_event, cylinder_set_member, cylinder_set, equipment, cylinder, item;
