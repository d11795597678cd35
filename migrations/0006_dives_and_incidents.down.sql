DROP TABLE incident_former, incident_person, incident, left_item, watch_fact, watch, dive_former, dive_diver, dive;
