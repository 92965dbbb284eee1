"""The pages, one module a step of the job."""
