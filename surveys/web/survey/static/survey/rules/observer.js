// Rules on who listened.
import { breach } from "./case.js";

const qualified = ({ protocol, surroundings }) =>
  protocol.training_needed ? (surroundings.observer_qualified ?? null) : true;

const hasNoTest = (record, isNote) =>
  qualified(record) === false && (record.protocol.without_test === "note") === isNote;

export const observerNotQualified = (record) => (hasNoTest(record, false) ? [breach({}, {})] : []);
export const observerWithoutTest = (record) => (hasNoTest(record, true) ? [breach({}, {})] : []);
export const trainingUnknown = (record) => (qualified(record) === null ? [breach({}, {})] : []);
