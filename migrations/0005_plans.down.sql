DROP TABLE booking, waiver, decision, evaluation, plan_item, plan_person, plan_version, plan;
DROP FUNCTION refuse_new_decision();
