// Rules on who listened.
import { breach } from "./case.js";

const qualified = ({ protocol, surroundings }) =>
  protocol.training_needed ? (surroundings.observer_qualified ?? null) : true;

export const observerNotQualified = (record) => (qualified(record) === false ? [breach({}, {})] : []);
export const trainingUnknown = (record) => (qualified(record) === null ? [breach({}, {})] : []);
